"""Readings of a season thinned out to what is learned from."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from service.operations.feedback.learning_season import thinned
from service.records.feedback import SoilReading

DAY = date(2026, 7, 10)


def at_hour(hour: int, water: float) -> SoilReading:
    return SoilReading(
        block_id="farm.block",
        read_at=datetime(2026, 7, 10, hour, tzinfo=UTC),
        day=DAY,
        is_evening=hour >= 12,
        kind="volumetric",
        volumetric_water=water,
        top_depth_m=0.1,
        bottom_depth_m=0.3,
        depletion_reading_mm=3.0,
        weight_fraction=0.4,
    )


def test_of_hourly_readings_the_median_before_dawn_stands_for_the_half_day() -> None:
    hours = [at_hour(2, 0.19), at_hour(3, 0.20), at_hour(5, 0.22), at_hour(9, 0.10)]
    (kept,) = thinned(hours, ZoneInfo("UTC"))
    assert kept.volumetric_water == 0.20


def test_both_halves_of_a_day_count_once() -> None:
    hours = [at_hour(8, 0.18), at_hour(9, 0.20), at_hour(20, 0.16)]
    found = thinned(hours, ZoneInfo("UTC"))
    assert [each.is_evening for each in found] == [False, True]
    assert round(found[0].volumetric_water, 9) == 0.19
