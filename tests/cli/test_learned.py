"""The command ``learned`` on the demonstration, which has no soil sensors, and on a dead one."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import time_machine
from sqlalchemy.engine import URL

from service.database.engine import make_engine
from service.database.session import unit_of_work_factory
from service.records.feedback import SoilReading
from tests.cli.conftest import call, document

BLOCK = "larkbend.creek"
EVENING = "2026-07-14T23:00:00+00:00"
DEMO_DAY = date(2026, 7, 14)


def probe_in_air(database_url: URL) -> None:
    """A probe that shows 2 % of water every evening for a month."""
    engine = make_engine(database_url)
    readings = [
        SoilReading(
            block_id=BLOCK,
            read_at=datetime(day.year, day.month, day.day, 22, tzinfo=UTC),
            day=day,
            is_evening=True,
            kind="volumetric",
            volumetric_water=0.02,
            top_depth_m=0.1,
            bottom_depth_m=0.3,
            depletion_reading_mm=10.0,
            weight_fraction=0.4,
        )
        for day in (DEMO_DAY - timedelta(days=back) for back in range(30, 0, -1))
    ]
    with unit_of_work_factory(engine)(write=True) as unit:
        unit.soil.record_all(readings, recorded_at=datetime(2026, 7, 14, 22, tzinfo=UTC))
    engine.dispose()


def test_without_readings_it_says_so_and_gives_the_usual_spread(own_demo_url: URL) -> None:
    with time_machine.travel(EVENING, tick=False):
        found = call(own_demo_url, "learned", BLOCK)
        as_json = document(call(own_demo_url, "learned", BLOCK, "--json"))
    assert found.exit_code == 0, found.output
    assert "No soil readings of sensors" in found.stdout
    assert "Crop's water use: 0 %, likely -21 to +26 %" in found.stdout
    assert "The plans do not use any of this." in found.stdout
    assert as_json["sensors"] == []
    assert as_json["depletion_mm"] == as_json["depletion_without_readings_mm"]


def test_a_probe_in_the_air_is_named_with_exit_code_1(own_demo_url: URL) -> None:
    probe_in_air(own_demo_url)
    with time_machine.travel(EVENING, tick=False):
        found = call(own_demo_url, "learned", BLOCK)
    assert found.exit_code == 1, found.output
    assert "drier than any soil" in " ".join(found.stdout.split())
