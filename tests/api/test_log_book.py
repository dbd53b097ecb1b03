"""The log book of a farm over the API: sentences, tables, pages."""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime, timedelta
from typing import Any

import openpyxl
import pytest

from service.delivery.table_file import XLSX_TYPE
from tests.api.callers import Caller
from tests.api.invented_farm import BLOCK_ID, FARM_ID

LOG = f"/v1/farms/{FARM_ID}/log-book"
FIRST = datetime.fromisoformat("2026-07-10T05:00:00-04:00")


@pytest.fixture
def reported(caller: Caller) -> Caller:
    """Runs of three days, reported one after the other."""
    for number in range(3):
        run = {
            "block_id": BLOCK_ID,
            "started_at": (FIRST + timedelta(days=number)).isoformat(),
            "duration_min": 20 + number,
        }
        assert caller.post("/v1/runs", {"items": [run]}).status_code == 200
    return caller


def test_what_was_reported_is_told_in_sentences_the_newest_first(reported: Caller) -> None:
    items = reported.get(f"{LOG}?kind=runs").json()["items"]
    told = [" ".join(each["sentences"]) for each in items]
    assert [minutes in text for minutes, text in zip(("22", "21", "20"), told, strict=True)] == [
        True
    ] * 3
    assert {each["kind"] for each in items} == {"Reported runs"}


@pytest.mark.parametrize("form", ["application/json", "text/csv", XLSX_TYPE])
def test_pages_hold_every_entry_once_in_every_form(reported: Caller, form: str) -> None:
    whole = reported.get(f"{LOG}?kind=runs").json()["items"]
    address, found = f"{LOG}?kind=runs&page_size=2", []
    while address:
        answer = reported.get(address, headers={"Accept": form})
        assert answer.headers["content-type"].startswith(form)
        found += sentences(answer.content, form)
        if form == "application/json":
            address = answer.json()["next"]
        else:
            address = answer.headers.get("Link", "").partition("<")[2].partition(">")[0]
    assert found == [" ".join(each["sentences"]) for each in whole]


def sentences(content: bytes, form: str) -> list[str]:
    """What happened, by line of an answer."""
    if form == XLSX_TYPE:
        sheet = openpyxl.load_workbook(io.BytesIO(content)).worksheets[0]
        return [str(row[3]) for row in sheet.iter_rows(min_row=2, values_only=True)]
    if form == "text/csv":
        return [row["sentences"] for row in csv.DictReader(io.StringIO(content.decode()))]
    items: list[dict[str, Any]] = json.loads(content)["items"]
    return [" ".join(each["sentences"]) for each in items]


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("?kind=weather", 422),
        ("?from=2026-07-14&to=2026-07-01", 422),
        ("?block=other-farm.north", 404),
        ("?cursor=%21", 422),
    ],
)
def test_a_wrong_question_is_refused(caller: Caller, query: str, status: int) -> None:
    assert caller.get(f"{LOG}{query}").status_code == status
