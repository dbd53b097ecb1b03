"""A county's figures are the same to the last shown digit wherever they are shown.

On the page, in its CSV file, over the API, and in both parts of the adviser's weekly mail, in SI
and in US units. What is shown is rounded once, from the same number.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from html import unescape
from typing import Any

import pytest
from sqlalchemy.engine import URL

from service.api.app import create_app
from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service, make_composer
from service.operations.mail.weekly_bulletin import bulletin_letter
from service.records.letters import MailStamp
from service.records.mail import Person
from service.unit_sizes import MM_PER_INCH
from tests.api.invented_farm import BLOCK_ID, RUN_AT, copied_service, load
from tests.pages.conftest import COUNTIES, Reader

MONDAY = date(2026, 7, 6)
"""Of the last whole week before the evening at which the invented service's clock is stopped."""
WEEK = "2026-W28"
FIGURES = ("gross_need_mm", "running_h", "rain_mm", "reference_et_mm", "percent_of_normal")
"""As the file names them, in the order of the mail's columns."""
NAMES = ("Alder <County> (invented)", "=Birch (invented)")
STAMP = MailStamp(message_id="counties@mail.example.org", written_at=RUN_AT, link_token="token-1")


@dataclass(frozen=True, slots=True)
class Region:
    """The service, and somebody who looks at its pages."""

    service: Service
    reader: Reader


@pytest.fixture(scope="module")
def region(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Region]:
    """Two counties, of which one has weather."""
    with copied_service(planned_database, tmp_path_factory.mktemp("counties")) as made:
        load(made, COUNTIES)
        yield Region(made, Reader(create_app(made)))


def digits(value: float | None, decimals: int) -> str:
    return "?" if value is None else f"{value:,.{decimals}f}"


def shown_of(values: dict[str, float | None], unit_system: str) -> list[str]:
    """What a reader should see of a county, in the order of the mail's columns."""

    def depth(depth_mm: float | None) -> str:
        if unit_system == "us" and depth_mm is not None:
            return digits(depth_mm / MM_PER_INCH, 2)
        return digits(depth_mm, 1)

    percent = digits(values["percent_of_normal"], 0)
    return [
        depth(values["gross_need_mm"]),
        digits(values["running_h"], 1),
        depth(values["rain_mm"]),
        depth(values["reference_et_mm"]),
        percent if percent == "?" else f"{percent}%",
    ]


def from_api(region: Region, unit_system: str) -> dict[str, list[str]]:
    asked = {"week": WEEK, "block": BLOCK_ID}
    answer = region.reader.get("/v1/counties/water-need", params=asked)
    assert answer.status_code == 200
    items: list[dict[str, Any]] = answer.json()["items"]
    return {
        item["name"]: shown_of(
            {**item, "gross_need_mm": item["gross_need"]["depth_mm"]}, unit_system
        )
        for item in items
    }


def from_page(region: Region, unit_system: str) -> dict[str, list[str]]:
    region.reader.send("/farms?all=1", "/reading", units=unit_system)
    page = region.reader.get(f"/counties?week={WEEK}&block={BLOCK_ID}").text
    table = page.partition('id="week-table"')[2].partition("</table>")[0]
    found = {}
    for row in table.partition("<tbody>")[2].split("<tr ")[1:]:
        (name,) = re.findall(r'<th scope="row">(.*?)</th>', row)
        cells = re.findall(r'<td class="n">(.*?)</td>', row)
        # Rank, net need, then those of the mail.
        found[unescape(name)] = cells[2:7]
    return found


def from_csv(region: Region, unit_system: str) -> dict[str, list[str]]:
    region.reader.send("/farms?all=1", "/reading", units=unit_system)
    text = region.reader.get(f"/counties.csv?week={WEEK}&block={BLOCK_ID}").text
    return {
        row["name"].removeprefix("'"): shown_of(
            {name: in_mm(row, name, unit_system) for name in FIGURES}, unit_system
        )
        for row in csv.DictReader(io.StringIO(text))
    }


def in_mm(row: dict[str, str], name: str, unit_system: str) -> float | None:
    """A figure of the file, whose columns of depths are in the reader's unit."""
    if unit_system == "us" and name.endswith("_mm"):
        shown = row[f"{name.removesuffix('_mm')}_in"]
        return float(shown) * MM_PER_INCH if shown else None
    return float(row[name]) if row[name] else None


def mail_of(region: Region, unit_system: str) -> EmailMessage:
    adviser = Person(
        mail_address="adviser@example.org",
        name="Adviser",
        role="adviser",
        unit_system=unit_system,
        reference_block_id=BLOCK_ID,
    )
    letter = bulletin_letter(
        adviser,
        MONDAY + timedelta(days=6),
        unit_of_work=region.service.unit_of_work,
        clock=region.service.clock,
        source_order=region.service.source_order,
        attributions=ATTRIBUTIONS,
    )
    content = make_composer(region.service)(letter, adviser, STAMP)
    message = message_from_bytes(content, policy=policy.default)
    assert isinstance(message, EmailMessage)
    return message


def part_of(message: EmailMessage, kind: str) -> str:
    body = message.get_body((kind,))
    assert body is not None
    return str(body.get_content())


def from_text(message: EmailMessage) -> dict[str, list[str]]:
    """By county the values of the indented ``heading: value`` lines under its name."""
    found: dict[str, list[str]] = {}
    name = ""
    for line in part_of(message, "plain").splitlines():
        if line in NAMES:
            name = line
        elif name and re.fullmatch(r"  [^:]+: \S+", line):
            found.setdefault(name, []).append(line.rpartition(": ")[2])
        elif not line.startswith("  "):
            name = ""
    return found


def from_html(message: EmailMessage) -> dict[str, list[str]]:
    found = {}
    for row in part_of(message, "html").split("<th colspan=")[1:]:
        (name,) = re.findall(r">([^<]*)</th>", row)[:1]
        found[unescape(name)] = re.findall(r'<td align="right"[^>]*>(.*?)</td>', row)[
            : len(FIGURES)
        ]
    return found


@pytest.mark.parametrize("unit_system", ["si", "us"])
def test_the_counties_say_the_same_in_the_mail_on_the_page_in_the_file_and_over_the_api(
    region: Region, unit_system: str
) -> None:
    api = from_api(region, unit_system)
    assert set(api) == set(NAMES)
    known = api[NAMES[0]]
    assert all(re.fullmatch(r"[\d,.]+", text) for text in known[:4]), known
    assert float(known[0]) > 0 and float(known[3]) > 0
    assert from_page(region, unit_system) == api
    assert from_csv(region, unit_system) == api
    message = mail_of(region, unit_system)
    with_dashes = {
        name: ["-" if text == "?" else text for text in shown] for name, shown in api.items()
    }
    assert from_text(message) == with_dashes
    assert from_html(message) == with_dashes
    unit = "mm" if unit_system == "si" else "in"
    assert f"Most water: {NAMES[0]}, {known[0]} {unit}." in part_of(message, "plain")
