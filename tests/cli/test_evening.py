"""Farm files and weather in, runs reported, evenings run: what a farm does from day to day."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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


def test_an_import_without_news_changes_nothing(empty: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        empty("load", str(FARM_FILE))
        first = document(empty("weather-import", "demo-alderway", ALDERWAY, "--json"))
        second = document(empty("weather-import", "demo-alderway", ALDERWAY, "--json"))
    assert first["created_count"] == 63
    assert second["created_count"] == second["changed_count"] == 0


def test_a_run_reported_changes_the_next_plan_once(own_demo: Command) -> None:
    before = document(own_demo("why", "creek", "--json"))
    report = (
        "report-run", "creek", "--start", "2026-07-14T05:20", "--minutes", "20",
        "--volume", "580 gal", "--json",
    )  # fmt: skip
    assert document(own_demo(*report))["created_count"] == 1
    assert document(own_demo(*report))["unchanged_count"] == 1
    runs = [document(own_demo("run-day", "--on", "2026-07-14", "--json")) for _ in range(2)]
    assert runs[0][0]["new_version_count"] >= 1
    assert runs[1][0]["new_version_count"] == 0
    after = document(own_demo("why", "creek", "--json"))
    assert after["plan"]["version"] == before["plan"]["version"] + 1
    # Less ran than was planned, so more is missing.
    assert missing_mm(after) > missing_mm(before)


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
    assert text.count("NO PLAN: the weather is not known") == 6
    assert "WATER" not in text
