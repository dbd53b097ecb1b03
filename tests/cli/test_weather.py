"""A grower's own measurements on the command line; every number is invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
import time_machine
from typer.testing import Result

from service.demo_farm import FARM_FILE
from tests.cli.conftest import Command, document

FARM = "larkbend"
SITE = "demo-alderway"
EVENING = "2026-07-14T23:00:00+00:00"
"""19:00 at the site."""
LOGGER = """\
"TABLE","SYNTH","x","1","x","x","1","Daily"
"TIMESTAMP","RECORD","AirT_C_Max","AirT_C_Min","RH_Max","RH_Min","WS_ms_Avg","SlrMJ_Tot","Rain_mm_Tot"
"TS","RN","Deg C","Deg C","%","%","m/s","MJ/m^2","mm"
"","","Max","Min","Max","Min","Avg","Tot","Tot"
"2026-07-07 00:00:00",101,33.1,21.2,98.5,47.0,1.8,23.4,0
"2026-07-08 00:00:00",102,34.0,"NAN",97.9,44.1,2.0,-7999,3.2
"""
TOLD = (
    "--clock-offset=-05:00", "--stamp", "end", "--wind-height", "3", "--radiation", "mj-m2",
)  # fmt: skip


@pytest.fixture
def farm(empty: Command) -> Command:
    """Commands on the evening of 14 July on a database that holds the demonstration farm alone."""
    with time_machine.travel(EVENING, tick=False):
        assert empty("load", str(FARM_FILE)).exit_code == 0

    def call(*arguments: str) -> Result:
        with time_machine.travel(EVENING, tick=False):
            return empty(*arguments)

    return call


@pytest.fixture
def logger(tmp_path: Path) -> str:
    path = tmp_path / "daily.dat"
    path.write_text(LOGGER)
    return str(path)


def test_a_logger_file_asks_first_and_remembers_the_answers(farm: Command, logger: str) -> None:
    asked = farm("station-import", SITE, logger)
    assert asked.exit_code == 2
    for option in ("--clock-offset", "--stamp end", "--wind-height", "--radiation w-m2"):
        assert option in asked.stderr
    first = document(farm("station-import", SITE, logger, *TOLD, "--json"))
    assert (first["first_day"], first["last_day"]) == ("2026-07-06", "2026-07-07")
    assert first["created_count"] == 2
    assert first["setup"]["clock"] == "-05:00"
    again = document(farm("station-import", SITE, logger, "--json"))
    assert again["unchanged_count"] == 2
    assert again["first_changed_day"] is None
    assert again["sha256"] == first["sha256"]


def test_oddities_are_reported_line_by_line(farm: Command, tmp_path: Path) -> None:
    path = tmp_path / "hours.csv"
    stamps = (datetime.fromisoformat("2026-07-06T00:00") + timedelta(hours=h) for h in range(1, 26))
    rows = [f"{stamp:%Y-%m-%d %H:%M},{20 + stamp.hour / 10},0" for stamp in stamps]
    rows[3] = rows[3].replace(",20.4,", ",95,")
    path.write_text("timestamp,temperature_c,rain_mm\n" + "\n".join(rows[:20] + rows[21:]) + "\n")
    result = farm("station-import", SITE, str(path), "--zone", "America/New_York", "--stamp", "end")
    assert result.exit_code == 0
    assert "24 intervals of 60 min; days 2026-07-06 to 2026-07-06: 1 new" in result.stdout
    assert "1 gap, 1.0 hours in all" in result.stderr
    assert "note: 2026-07-06: rain_mm 23 h partial" in result.stderr
    assert "line 5 temperature_c: out-of-range, 95 is not from -60 to 60" in result.stderr


def test_two_clocks_for_one_logger_are_refused(farm: Command, logger: str) -> None:
    result = farm("station-import", SITE, logger, "--zone", "America/New_York", *TOLD)
    assert result.exit_code == 2
    assert "one of the two" in result.stderr


@pytest.mark.parametrize("column", ["AirT", "=tmax_c", "AirT_C_Max=hot"])
def test_an_impossible_column_is_refused(farm: Command, logger: str, column: str) -> None:
    assert farm("station-import", SITE, logger, *TOLD, "--column", column).exit_code == 2


def test_rain_read_in_inches_at_seven_is_booked_to_the_day_before(farm: Command) -> None:
    result = farm("gauge", SITE, "0.35 in", "--read-at", "2026-07-07T07:00")
    assert result.exit_code == 0
    assert "from 2026-07-06 07:00 to 2026-07-07 07:00: 8.9 mm (0.35 in), measured" in result.stdout
    assert "2026-07-06  8.9 mm (0.35 in), 17 h of it" in result.stdout
    again = document(farm("gauge", SITE, "0.35 in", "--read-at", "2026-07-07T07:00", "--json"))
    assert again["unchanged_count"] == 1
    assert again["first_changed_day"] is None
    assert again["booked"][0]["rain_mm"] == 8.89


@pytest.mark.parametrize(
    ("amount", "kind"),
    [("0", "measured"), ("trace", "trace"), ("none", "none"), ("0 mm", "measured")],
)
def test_nothing_has_several_names(farm: Command, amount: str, kind: str) -> None:
    stored = document(farm("gauge", SITE, amount, "--read-at", "2026-07-07T07:00", "--json"))
    assert (stored["rain_mm"], stored["kind"]) == (0.0, kind)


def test_an_amount_without_its_unit_is_refused(farm: Command) -> None:
    result = farm("gauge", SITE, "0.35")
    assert result.exit_code == 2
    assert "with its unit" in result.stderr


def test_an_unlikely_amount_is_taken_when_confirmed(farm: Command) -> None:
    asked = farm("gauge", SITE, "8 in", "--read-at", "2026-07-07T07:00")
    assert asked.exit_code == 2
    assert "--confirm" in asked.stderr
    assert "found: 8.00 in" in " ".join(asked.stderr.split())
    taken = farm("gauge", SITE, "8 in", "--read-at", "2026-07-07T07:00", "--confirm")
    assert taken.exit_code == 0


def test_a_reading_names_whose_gauge_it_is(farm: Command) -> None:
    at = ("--read-at", "2026-07-07T07:00")
    of_place = farm("gauge", SITE, "0.35 in", *at)
    of_farm = farm("gauge", SITE, "0.5 in", *at, "--farm", FARM)
    assert f"{SITE}, the site's own gauge: 1 new" in of_place.stdout
    assert f"{SITE}, the gauge of {FARM}: 1 new" in of_farm.stdout
    refused = farm("gauge", SITE, "0.5 in", *at, "--farm", "nobody")
    assert refused.exit_code == 1
    assert "'nobody'" in refused.stderr


def test_gauge_rain_changes_the_plan(own_demo: Command) -> None:
    before = document(own_demo("run-day", "--on", "2026-07-14", "--json"))
    assert before[0]["new_version_count"] == 0
    with time_machine.travel(EVENING, tick=False):
        stored = document(
            own_demo(
                "gauge", SITE, "1.6 in", "--read-at", "2026-07-14T07:00", "--confirm", "--json"
            )
        )
    assert [each["day"] for each in stored["booked"]] == ["2026-07-13"]
    after = document(own_demo("run-day", "--on", "2026-07-14", "--json"))
    assert after[0]["new_version_count"] > 0
