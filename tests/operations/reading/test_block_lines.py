"""A plan as a line: the pause of its day that ends last, and pulses on the block's clock."""

from __future__ import annotations

from datetime import date, datetime

from service.agronomy.records import NoWaterPeriod
from service.bootstrap import Service
from service.operations.reading.block_lines import line_of_plan, pause_of_day
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import BLOCK_ID, PLAN_DAY

DAY = date(2026, 7, 15)


def period(starts: str, ends: str) -> NoWaterPeriod:
    return NoWaterPeriod(datetime.fromisoformat(starts), datetime.fromisoformat(ends), "harvest")


def test_of_the_periods_that_touch_a_day_the_last_to_end_counts() -> None:
    short = period("2026-07-14T06:00", "2026-07-15T06:00")
    long = period("2026-07-15T20:00", "2026-07-17T00:00")
    over = period("2026-07-14T00:00", "2026-07-15T00:00")
    assert pause_of_day([short, long, over], DAY) is long
    assert pause_of_day([over], DAY) is None


def test_a_line_has_the_minutes_of_its_plan_on_the_clock_of_the_block(own_service: Service) -> None:
    view = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work)
    line = line_of_plan(view)
    assert sum(pulse.duration_min for pulse in line.pulses) == line.planned_min
    starts = line.pulses[0].starts_at
    assert starts.hour * 60 + starts.minute == view.plan.pulses[0].start_min
    assert line.outlook[0].expected_min == view.plan.planned_min
