"""The health check: silent when all is well, and specific when it is not."""

from __future__ import annotations

from pathlib import Path

import orjson
import time_machine

from service.demo_farm import FARM_FILE, weather_file
from tests.cli.conftest import Command

EVENING = "2026-07-14T23:00:00+00:00"


def test_all_is_well_on_the_evening_of_the_demonstration(demo: Command) -> None:
    with time_machine.travel(EVENING, tick=False):
        result = demo("check")
    assert result.exit_code == 0, result.output
    assert "Nothing needs attention." in result.stdout
    assert "1 farm, 6 blocks, 4 sites, 4 counties" in result.stdout


def test_weather_that_ended_is_named_site_by_site(demo: Command) -> None:
    with time_machine.travel("2026-07-20T12:00:00+00:00", tick=False):
        result = demo("check", "--json")
    assert result.exit_code == 1
    health = orjson.loads(result.stdout)
    assert health["needs_attention"]
    assert [site["last_observed_day"] for site in health["sites"]] == ["2026-07-13"] * 4
    assert all(
        site["findings"] == ["observed weather ends 7 days ago, on 2026-07-13"]
        for site in health["sites"]
    )


def test_an_empty_database_asks_for_a_farm(empty: Command) -> None:
    result = empty("check")
    assert result.exit_code == 1
    assert "rillwright load" in result.stdout


def test_gaps_and_flags_are_counted(empty: Command, tmp_path: Path) -> None:
    lines = weather_file("demo-alderway").read_text(encoding="utf-8").splitlines()
    head, days = lines[:2], lines[2:]
    kept = [day for day in days if not day.startswith(("2026-07-01", "2026-07-02"))]
    # No wind at all on one day.
    kept = [
        ",".join([*day.split(",")[:5], "", *day.split(",")[6:]])
        if day.startswith("2026-07-05")
        else day
        for day in kept
    ]
    gappy = tmp_path / "gappy.csv"
    gappy.write_text("\n".join([*head, *kept]) + "\n")
    with time_machine.travel(EVENING, tick=False):
        empty("load", str(FARM_FILE))
        empty("weather-import", "demo-alderway", str(gappy))
        health = orjson.loads(empty("check", "--json").stdout)
    site = next(each for each in health["sites"] if each["site_id"] == "demo-alderway")
    assert site["missing_days"] == ["2026-07-01", "2026-07-02"]
    # The two missing days are missing, not windless.
    assert site["flag_day_counts"] == {"u2_m_s: default wind": 1}


def test_a_root_zone_smaller_than_a_day_of_use_is_found(empty: Command, tmp_path: Path) -> None:
    shallow = tmp_path / "shallow.toml"
    shallow.write_text(
        FARM_FILE.read_text(encoding="utf-8").replace(
            'root_depth = "16 in"', 'root_depth = "4 in"\nwetted_fraction = 0.2'
        )
    )
    with time_machine.travel(EVENING, tick=False):
        empty("load", str(shallow))
        empty("weather-import", "demo-alderway", str(weather_file("demo-alderway")))
        health = orjson.loads(empty("check", "--json").stdout)
    found = {block["block_id"]: block["findings"] for block in health["blocks"]}
    assert "larkbend.creek" in found
    assert "less than" in found["larkbend.creek"][0]


def test_no_password_is_shown() -> None:
    from service.cli.housekeeping import shown_database
    from service.settings import Settings

    settings = Settings(database_url="postgresql+psycopg://grower:secret@db/rill")
    assert shown_database(settings) == "postgresql+psycopg://grower@db/rill"
