"""Today is the day at the farm on the command line too, whatever day it is at Greenwich."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
import time_machine
from sqlalchemy.engine import URL

from service.bootstrap import Service
from service.demo_farm import weather_file
from tests.cli.conftest import Command, call, document
from tests.cli.test_waterworks import CAUGHT, LABORATORY
from tests.distant_farms import (
    DISTANT,
    Distant,
    filled_databases,
    lent_service,
    uniformity_of,
)

ONE_DAY = timedelta(days=1)
OLD, FRESH, LATER = "old", "fresh", "later"
ACID = ("--to", "6.5", "--acid", "sulfuric", "--strength", "93")
WEATHER = str(weather_file("demo-alderway"))


@pytest.fixture(params=DISTANT, ids=str)
def place(request: pytest.FixtureRequest) -> Distant:
    found: Distant = request.param
    return found


@pytest.fixture(scope="module")
def filled(migrated: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[Distant, URL]]:
    with filled_databases(migrated, tmp_path_factory.mktemp("distant")) as found:
        yield found


@pytest.fixture
def service(filled: dict[Distant, URL], place: Distant, tmp_path: Path) -> Iterator[Service]:
    with lent_service(filled, place, tmp_path) as made:
        yield made


@pytest.fixture
def command(service: Service, place: Distant) -> Iterator[Command]:
    with time_machine.travel(place.now, tick=False):
        yield partial(call, service.settings.database_url)


def test_a_field_test_is_of_today_and_counts_from_today_on(
    command: Command, service: Service, place: Distant
) -> None:
    assert document(command("catch-test", OLD, *CAUGHT, "--use", "--json"))["day"] == (
        place.today.isoformat()
    )
    yesterday = uniformity_of(service, "far.old", place.today - ONE_DAY)
    assert uniformity_of(service, "far.old", place.today) != yesterday
    late = command("catch-test", OLD, *CAUGHT, "--on", f"{place.today + ONE_DAY}")
    assert late.exit_code == 2 and f"a day up to {place.today}" in late.stderr


def test_a_water_analysis_without_a_day_is_of_today(command: Command, place: Distant) -> None:
    added = document(command("water-add", "far.well", "--reading", "ph=7.1", "--json"))
    assert added["day"] == place.today.isoformat()


@pytest.mark.parametrize(
    "arguments",
    [
        ("lateral", "{}"),
        ("catch-test", "{}"),
        ("water-report", "{}"),
        ("water-report", "{}", "--use-leaching"),
        ("acid", "{}", *ACID),
        ("fertiliser-split", "{}", "--need", "nitrogen=40", "--product", "urea",
         "--day", "2026-08-01"),
        ("counties", "--block", "{}"),
        ("hindcast", "{}", "--weather", WEATHER, "--from", "2026-06-01", "--to", "2026-06-20"),
        ("report-run", "{}", "--start", "{now}", "--minutes", "5"),
    ],
    ids=lambda arguments: " ".join(arguments[:3:2]),
)  # fmt: skip
def test_a_block_is_shown_as_of_the_farms_day(
    command: Command, place: Distant, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    report = tmp_path / "water.toml"
    report.write_text(LABORATORY, encoding="utf-8")
    assert command("water-add", "far.well", str(report)).exit_code == 0
    now = place.now.isoformat()
    for name, code in ((FRESH, 0), (f"far.{FRESH}", 0), (LATER, 1)):
        result = command(*(text.replace("{}", name).replace("{now}", now) for text in arguments))
        assert result.exit_code == code, result.output


def test_an_order_is_taken_back_by_the_short_name_of_its_block(
    command: Command, place: Distant
) -> None:
    tomorrow = (place.today + ONE_DAY).isoformat()
    order = (
        "fertigate", OLD, "--on", tomorrow, "--product", "urea=3 kg", "--stock", "30 L",
        "--injector", "5 L/h to 120 L/h",
    )  # fmt: skip
    assert command(*order).exit_code == 0, command(*order).output
    assert [each["day"] for each in document(command("fertigations", OLD, "--json"))] == [tomorrow]
    assert command("fertigate", OLD, "--on", tomorrow, "--cancel").exit_code == 0
