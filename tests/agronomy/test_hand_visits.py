"""Valves that somebody opens by hand: where their pulses may start, and what a day can hold."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.hand_visits import is_by_hand, visit_capacity_min, visit_windows
from service.agronomy.pulse_plan import ANY_START_MIN, ShortfallCause
from service.agronomy.records import Floats, WallWindow, WindowBatch
from service.agronomy.supply import schedule_supplies
from service.agronomy.watering_window import take_windows, watering_windows
from tests.agronomy.pulse_demands import assert_rules_hold, block_days, make_demand, pulses_of

SUMMER = date(2026, 7, 15)
ALL_DAY = (WallWindow(240, 1260),)


def day_of(*visits: tuple[int, int], hours: tuple[WallWindow, ...] = ALL_DAY) -> WindowBatch:
    """A block with visits, and one whose valve opens by itself."""
    own = tuple(WallWindow(comes, leaves) for comes, leaves in visits)
    return watering_windows(
        [hours, hours],
        [ALL_DAY, ALL_DAY],
        [(), ()],
        zones=["America/Chicago"] * 2,
        day=SUMMER,
        visits=[own, ()],
    )


def spans_of(windows: WindowBatch, block: int) -> list[tuple[int, int]]:
    return [
        (opens, closes)
        for opens, closes in zip(
            windows.opens_min[block].tolist(), windows.closes_min[block].tolist(), strict=True
        )
        if opens < closes
    ]


def test_a_pulse_starts_during_a_visit_and_may_last_to_the_end_of_the_hours() -> None:
    windows, within_min = visit_windows(day_of((420, 450), (1140, 1170)))
    assert spans_of(windows, 0) == [(420, 1260), (1140, 1260)]
    assert spans_of(windows, 1) == [(240, 1260)]
    assert within_min.tolist() == [30, ANY_START_MIN]


def test_a_visit_outside_the_hours_or_cut_to_less_than_the_shortest_is_of_no_use() -> None:
    hours = (WallWindow(435, 600),)
    windows, _ = visit_windows(day_of((420, 450), (460, 500), (1140, 1170), hours=hours))
    assert spans_of(windows, 0) == [(460, 600), (470, 600)]


def test_without_a_valve_turned_by_hand_nothing_changes() -> None:
    day = day_of()
    windows, within_min = visit_windows(day)
    assert windows is day
    assert within_min.tolist() == [ANY_START_MIN] * 2
    assert is_by_hand(take_windows(day_of((420, 450)), np.array([1, 0]))).tolist() == [False, True]


def test_a_day_holds_the_longest_pulses_that_begin_with_a_visit() -> None:
    # From 07:00 to 21:00 and from 19:00: 240 and 120 min; of one opening the longer.
    day = day_of((420, 450), (1140, 1170))
    longest = np.array([240, 240])
    capacity = visit_capacity_min(day, longest, np.array([2.0, 2.0]))
    assert capacity[0] == 360.0
    assert np.isnan(capacity[1])
    assert visit_capacity_min(day, longest, np.array([1.0, 1.0]))[0] == 240.0


@given(
    st.lists(block_days(supply_count=2), min_size=1, max_size=6),
    st.lists(st.floats(2000.0, 12000.0), min_size=2, max_size=2).map(np.array),
    st.lists(st.sampled_from([0, 15, 60, ANY_START_MIN]), min_size=6, max_size=6),
)
def test_pulses_start_soon_enough_after_their_windows_open(
    blocks: list[dict[str, Any]], supply: Floats, within_min: list[int]
) -> None:
    for block, own in zip(blocks, within_min, strict=False):
        block["start_within_min"] = own
    demand = make_demand(*blocks)
    schedule = schedule_supplies(demand, supply)
    assert_rules_hold(demand, schedule, supply)
    cut = schedule.planned_min < schedule.wanted_min
    assert np.array_equal(cut, schedule.cause != ShortfallCause.NONE)


def test_two_valves_on_one_pump_are_opened_one_after_the_other_while_somebody_is_there() -> None:
    # Somebody is there for an hour: the second valve can be opened when the first has closed.
    valve = {"windows": ((420, 1260), (1140, 1260)), "start_within_min": 60, "need_mm": 2.0}
    schedule = schedule_supplies(make_demand(valve, valve), np.array([1500.0]))
    assert sorted(pulses_of(schedule, 0) + pulses_of(schedule, 1)) == [(420, 40), (460, 40)]


def test_a_need_that_the_visits_cannot_give_is_put_down_to_the_hours() -> None:
    valve = {"windows": ((420, 1260),), "start_within_min": 30, "need_mm": 5.0}
    schedule = schedule_supplies(make_demand(valve), np.array([1500.0]))
    assert pulses_of(schedule, 0) == [(420, 60)]
    assert schedule.cause[0] == ShortfallCause.WINDOWS
