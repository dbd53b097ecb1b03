"""What the store of reported runs does, on every database."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from service.agronomy.records import Ints
from service.database.session import UnitOfWorkFactory
from service.records.farms import LoadOutcome
from service.records.feedback import RunRows
from tests.database.stored_plans import (
    DAY,
    NOW,
    SOON,
    ZONE,
    make_plans,
    publish,
)
from tests.stored_farms import day_after, days, ints


def make_runs(
    block_key: int, *starts_min: int, duration_min: float = 45.0, sunrise_min: int = 340
) -> RunRows:
    """Runs of a block on DAY at these minutes since local midnight."""
    midnight = datetime(DAY.year, DAY.month, DAY.day, tzinfo=ZONE).astimezone(UTC)
    count = len(starts_min)
    return RunRows(
        block_keys=ints(*[block_key] * count),
        days=days(*[str(DAY)] * count),
        started_at=tuple(midnight + timedelta(minutes=start) for start in starts_min),
        start_min=ints(*starts_min),
        duration_min=np.full(count, duration_min),
        volume_l=np.full(count, np.nan),
        flowing_min=np.full(count, np.nan),
        is_early=np.array([start < sunrise_min for start in starts_min], dtype=np.bool_),
        is_volume_booked=np.zeros(count, dtype=np.bool_),
        reporter="controller 7",
    )


def record(open_unit: UnitOfWorkFactory, rows: RunRows) -> LoadOutcome:
    with open_unit(write=True) as unit:
        return unit.reports.record_runs(rows, recorded_at=NOW).outcome


def test_a_plan_counts_as_applied_where_nobody_reported(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[:1], basis_key, planned_min=60, digest="old"))
    publish(open_unit, make_plans(keys[:1], basis_key), at=SOON)
    span = days("2026-07-01", "2026-07-02", "2026-07-03")
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys, span)
    np.testing.assert_array_equal(found.early_min, [[0, 0], [30, 0], [0, 0]])
    np.testing.assert_array_equal(found.day_min, [[0, 0], [60, 0], [0, 0]])
    nan = np.nan
    np.testing.assert_array_equal(found.ready_min, [[nan, nan], [420, nan], [nan, nan]])
    assert not found.is_reported.any()


def test_reported_runs_take_the_place_of_the_plan(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    record(open_unit, make_runs(int(keys[1]), 500, 120, 200))
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys, days(str(DAY)))
    np.testing.assert_array_equal(found.is_reported, [[False, True]])
    np.testing.assert_array_equal(found.early_min, [[30, 90]])
    np.testing.assert_array_equal(found.day_min, [[60, 45]])
    # The last run ends at 545; the off time held across midnight is as long as the run.
    np.testing.assert_array_equal(found.ready_min, [[420, 545 + 45]])


def test_the_hours_of_day_water_are_those_of_the_runs_or_else_of_the_plan(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    record(open_unit, make_runs(int(keys[1]), 500, 120, 200))
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys, days(str(DAY)))
    pulses = found.day_pulses
    # Block 0 by its plan, without the pulse that starts before sunrise; block 1 by its day run.
    assert pulses.block_row.tolist() == [0, 1]
    assert pulses.start_min.tolist() == [360, 500]
    assert pulses.duration_min.tolist() == [60, 45]
    times = pulses.times(
        slice(0, 1), np.array([1, 0]), sunrise_min=np.zeros((1, 2)), sunset_min=np.ones((1, 2))
    )
    assert times.offset.tolist() == [0, 1, 2]
    assert times.start_min.tolist() == [500, 360]


def test_a_reported_run_of_no_minutes_says_that_the_plan_was_not_carried_out(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys, basis_key))
    record(open_unit, make_runs(int(keys[0]), 300, duration_min=0.0))
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys[:1], days(str(DAY)))
    assert (found.early_min[0, 0], found.day_min[0, 0]) == (0.0, 0.0)
    assert found.is_reported[0, 0]


def test_applied_water_follows_the_order_of_days_and_blocks_asked_for(
    open_unit: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    publish(open_unit, make_plans(keys[:1], basis_key))
    publish(open_unit, make_plans(keys[1:], basis_key, day=day_after(DAY, 2), planned_min=30))
    record(open_unit, make_runs(int(keys[1]), 100))
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys[::-1], days("2026-07-04", "2026-07-02"))
        none = unit.reports.read_applied(ints(), days(str(DAY)))
        no_days = unit.reports.read_applied(keys, days())
    np.testing.assert_array_equal(found.early_min, [[10, 0], [45, 30]])
    np.testing.assert_array_equal(found.day_min, [[20, 0], [0, 60]])
    assert none.early_min.shape == (1, 0)
    assert no_days.early_min.shape == (0, 2)


def test_the_same_run_again_is_unchanged_and_other_minutes_correct_it(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    key = int(keys[0])
    assert record(open_unit, make_runs(key, 100, 200)) == LoadOutcome(2, 0, 0)
    assert record(open_unit, make_runs(key, 100, 200)) == LoadOutcome(0, 0, 2)
    outcome = record(open_unit, make_runs(key, 100, 300, duration_min=60.0))
    assert outcome == LoadOutcome(1, 1, 0)
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys[:1], days(str(DAY)))
    assert found.early_min[0, 0] == 60.0 + 45.0 + 60.0


def test_a_metered_volume_added_later_corrects_the_run(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    rows = make_runs(int(keys[0]), 100)
    record(open_unit, rows)
    metered = replace(rows, volume_l=np.array([1234.5]), flowing_min=np.array([40.0]))
    assert record(open_unit, metered) == LoadOutcome(0, 1, 0)
    assert record(open_unit, metered) == LoadOutcome(0, 0, 1)
    with open_unit(write=False) as unit:
        found = unit.reports.read_metered(int(keys[0]), first_day=DAY)
    assert (found.duration_min[0], found.flowing_min[0], found.volume_l[0]) == (45.0, 40.0, 1234.5)


def test_a_metered_run_without_flowing_minutes_flowed_all_the_time(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    record(open_unit, replace(make_runs(int(keys[0]), 100), volume_l=np.array([900.0])))
    with open_unit(write=False) as unit:
        assert unit.reports.read_metered(int(keys[0]), first_day=DAY).flowing_min.tolist() == [45.0]


def test_the_last_of_two_reports_of_one_run_counts(
    open_unit: UnitOfWorkFactory, keys: Ints
) -> None:
    rows = make_runs(int(keys[0]), 100, 100)
    rows.duration_min[:] = [10.0, 20.0]
    assert record(open_unit, rows) == LoadOutcome(1, 0, 0)
    with open_unit(write=False) as unit:
        found = unit.reports.read_applied(keys[:1], days(str(DAY)))
    assert found.early_min[0, 0] == 20.0
