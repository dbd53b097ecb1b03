"""Farm files and weather in, runs reported, evenings run: what a farm does from day to day."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import time_machine

from service.demo_farm import FARM_FILE, weather_file
from tests.cli.conftest import Command, document

EVENING = "2026-07-14T23:00:00+00:00"
LATE_EVENING = "2026-07-15T02:00:00+00:00"
"""22:00 on the 14th at the farm: already the 15th in UTC."""
ALDERWAY = str(weather_file("demo-alderway"))


def test_loading_the_same_farm_twice_changes_nothing(empty: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        first = document(empty("load", str(FARM_FILE), "--json"))
        second = document(empty("load", str(FARM_FILE), "--json"))
    assert first["created_count"] == 18  # 4 sites, 4 counties, 2 supplies, 6 blocks, 2 others
    assert first["effective_day"] == "2026-07-14"
    assert second["created_count"] == second["changed_count"] == 0
    assert second["unchanged_count"] == 18


def test_today_is_the_day_at_the_farm_and_not_in_utc(empty: Command) -> None:
    with time_machine.travel(LATE_EVENING, tick=False):
        loaded = document(empty("load", str(FARM_FILE), "--json"))
        imported = document(empty("weather-import", "demo-alderway", ALDERWAY, "--json"))
        runs = document(empty("run-day", "--json"))
    assert loaded["effective_day"] == "2026-07-14"
    assert imported["forecast_from_day"] == "2026-07-14"
    assert [run["on"] for run in runs] == ["2026-07-14"]
    assert document(empty("plan", "--json"))[0]["day"] == "2026-07-15"


def test_a_planting_of_years_ahead_is_questioned(empty: Command, tmp_path: Path) -> None:
    farm = tmp_path / "farm.toml"
    text = FARM_FILE.read_text(encoding="utf-8")
    farm.write_text(re.sub(r"planting_year = \d+", "planting_year = 2041", text, count=1))
    with time_machine.travel(EVENING, tick=False):
        result = empty("load", str(farm))
    assert result.exit_code == 0, result.output
    assert "planting year 2041 is after 2026" in " ".join(result.stderr.split())


@pytest.mark.parametrize("day", ["", "canopy_measured_on = 2025-07-01\n"])
def test_a_young_canopy_without_the_day_of_its_measurement_is_noticed(
    empty: Command, tmp_path: Path, day: str
) -> None:
    farm = tmp_path / "farm.toml"
    young = f'planting_year = 2023\ncanopy_height = "1 m"\n{day}'
    farm.write_text(FARM_FILE.read_text("utf-8").replace("planting_year = 2023\n", young))
    with time_machine.travel(EVENING, tick=False):
        result = empty("load", str(farm))
    assert result.exit_code == 0, result.output
    notes = " ".join(result.stderr.split())
    assert ("canopy_height has no canopy_measured_on" in notes) == (not day)


def test_an_import_without_news_changes_nothing(empty: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        empty("load", str(FARM_FILE))
        first = document(empty("weather-import", "demo-alderway", ALDERWAY, "--json"))
        second = document(empty("weather-import", "demo-alderway", ALDERWAY, "--json"))
    assert first["created_count"] == 567
    assert second["created_count"] == second["changed_count"] == 0


REPORT = (
    "report-run", "creek", "--start", "2026-07-14T05:20", "--minutes", "20", "--volume", "580 gal",
)  # fmt: skip


def test_a_run_reported_changes_tomorrows_plan_at_once(own_demo: Command) -> None:
    before = document(own_demo("why", "creek", "--json"))
    with time_machine.travel(EVENING, tick=False):
        first = document(own_demo(*REPORT, "--json"))
        again = document(own_demo(*REPORT, "--json"))
        run = document(own_demo("run-day", "--json"))[0]
    assert (first["created_count"], again["unchanged_count"]) == (1, 1)
    assert first["new_version_count"] >= 1
    assert (again["new_version_count"], run["new_version_count"]) == (0, 0)
    after = document(own_demo("why", "creek", "--json"))
    assert after["plan"]["version"] == before["plan"]["version"] + 1
    # Less ran than was planned, so more is missing.
    assert missing_mm(after) > missing_mm(before)


def test_a_report_lists_the_plans_it_replaced_and_the_meter_check(own_demo: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        first, again = own_demo(*REPORT), own_demo(*REPORT)
        longer = document(own_demo(*REPORT[:5], "60", "--volume", "2000 gal", "--json"))
    assert first.stdout.startswith("larkbend.creek: 20 min from 2026-07-14 05:20, 1 new; ")
    assert "replaced" in first.stdout and "run-day" not in first.stdout
    assert "too short" in first.stdout
    assert "no plan changes" in again.stdout
    assert longer["changed_count"] == 1
    (flow,) = longer["flow"]
    assert flow["verdict"] in ("as-expected", "leak-suspected", "clogging-suspected")
    assert flow["block_id"] == "larkbend.creek"


def test_a_volume_that_is_questioned_can_be_confirmed(own_demo: Command) -> None:
    many = (*REPORT[:-1], "87000 gal")
    with time_machine.travel(EVENING, tick=False):
        questioned, confirmed = own_demo(*many), own_demo(*many, "--confirm-volume")
    assert "--confirm-volume" in questioned.stdout
    assert "1 changed" in confirmed.stdout
    assert "questioned" not in confirmed.stdout


def test_a_start_without_an_offset_is_on_the_clock_of_the_site(own_demo: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        assert own_demo(*REPORT).exit_code == 0
        start = "2026-07-14T09:20+00:00"
        again = document(own_demo(*REPORT[:2], "--start", start, *REPORT[4:], "--json"))
    assert again["unchanged_count"] == 1


@pytest.mark.parametrize(
    ("start", "minutes", "volume", "option"),
    [
        ("2026-07-14T19:06", "20", "580 gal", "--start"),
        ("2025-06-01T05:20", "20", "580 gal", "--start"),
        ("2026-07-14T05:20", "1501", "580 gal", "--minutes"),
        ("2026-07-14T05:20", "20", "500000000 L", "--volume"),
    ],
)
def test_an_impossible_run_is_refused_by_the_name_of_its_option(
    own_demo: Command, start: str, minutes: str, volume: str, option: str
) -> None:
    arguments = ("report-run", "creek", "--start", start, "--minutes", minutes, "--volume", volume)
    with time_machine.travel(EVENING, tick=False):
        result = own_demo(*arguments)
    assert result.exit_code == 2
    assert f"  - {option}\n" in result.stderr
    assert "/items" not in result.output


def test_a_clock_that_is_a_little_fast_does_not_refuse_a_run(own_demo: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        result = own_demo("report-run", "creek", "--start", "2026-07-14T19:04", "--minutes", "0")
    assert result.exit_code == 0, result.output


def test_how_wet_the_soil_is_answers_what_the_first_plan_assumed(own_demo: Command) -> None:
    before = document(own_demo("plan", "--block", "vines", "--json"))[0]
    assert any("Nobody has said how wet the soil was on" in text for text in before["cautions"])
    with time_machine.travel(EVENING, tick=False):
        said = own_demo("soil", "vines", "half")
        again = document(own_demo("soil", "vines", "50 %", "--json"))
    assert said.stdout.startswith("larkbend.vines: 50% of the available water on 2026-07-14;")
    assert "it counts fully" in said.stdout and "replaced" in said.stdout
    assert again["unchanged_count"] == 1
    after = document(own_demo("plan", "--block", "vines", "--json"))[0]
    assert after["version"] == before["version"] + 1
    assert not any("taken as full" in text for text in after["cautions"])


@pytest.mark.parametrize("how_wet", ["soaked", "120 %", "0.5"])
def test_a_wetness_that_nobody_can_mean_is_refused(own_demo: Command, how_wet: str) -> None:
    result = own_demo("soil", "vines", how_wet)
    assert result.exit_code == 2
    assert "three-quarters" in result.stderr


def missing_mm(explanation: dict[str, Any]) -> float:
    steps = {step["name"]: step["value"] for step in explanation["steps"]}
    missing: float = steps["depletion_midnight_mm"]
    return missing


def test_running_an_evening_again_makes_no_new_plan(own_demo: Command) -> None:
    runs = document(own_demo("run-day", "--on", "2026-07-14", "--json"))
    assert runs[0]["block_count"] == 6
    assert runs[0]["new_version_count"] == 0
    assert runs[0]["failures"] == []


def test_a_second_farm_in_another_zone_runs_its_own_day(empty: Command, tmp_path: Path) -> None:
    far = tmp_path / "far.toml"
    far.write_text(
        FARM_FILE.read_text(encoding="utf-8")
        .replace('id = "larkbend"', 'id = "far-farm"')
        .replace("America/New_York", "Australia/Sydney")
        .replace("latitude = 3", "latitude = -3")
        .replace("longitude = -8", "longitude = 15")
        .replace("demo-", "far-")
        .replace("XX-", "XX-1")
    )
    with time_machine.travel(EVENING, tick=False):
        for farm in (FARM_FILE, far):
            assert empty("load", str(farm)).exit_code == 0
        runs = document(empty("run-day", "--json"))
    assert [run["on"] for run in runs] == ["2026-07-14", "2026-07-15"]
    assert all(run["without_weather_count"] == 6 for run in runs)


def test_a_block_without_weather_gets_no_plan_and_says_so(empty: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        empty("load", str(FARM_FILE))
        assert "6 blocks without weather" in empty("run-day").stdout
    text = empty("plan").stdout
    assert text.count("NO PLAN: no weather data") == 6
    assert "WATER" not in text
