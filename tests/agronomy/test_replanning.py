"""A day that is re-planned while it is under way: worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import Ints, WindowBatch
from service.agronomy.replanning import CommittedWater, commit_pulses, windows_beside
from service.pulses import Pulse
from tests.agronomy.test_daily_plan import MID_KC, plan_of, pulses_of
from tests.factories import batch_of, even_days, make_block


def committed_of(
    pulses: list[list[tuple[int, int]]], minute: int, *, supply_index: Ints | None = None
) -> CommittedWater:
    count = len(pulses)
    return commit_pulses(
        [[Pulse(*pulse) for pulse in own] for own in pulses],
        minute=np.full(count, minute),
        sunrise_min=np.full(count, 350.0),
        supply_index=np.zeros(count, dtype=np.int64) if supply_index is None else supply_index,
        off_ratio=np.ones(count),
    )


def test_before_the_day_begins_nothing_is_committed() -> None:
    committed = committed_of([[(10, 40)]], minute=-30)
    assert committed.pulses.start_min.size == 0
    assert committed.not_before_min.tolist() == [0]


def test_a_pulse_that_starts_within_twenty_minutes_stays() -> None:
    committed = committed_of([[(300, 40), (519, 40), (520, 40)]], minute=500)
    assert committed.pulses.start_min.tolist() == [300, 519]
    assert committed.early_min.tolist() == [40.0]
    assert committed.day_min.tolist() == [40.0]
    assert committed.not_before_min.tolist() == [519 + 40 + 40]


def test_new_pulses_wait_for_committed_ones_of_the_same_supply() -> None:
    both = committed_of([[(480, 120)], []], minute=500)
    assert both.not_before_min.tolist() == [720, 600]
    apart = committed_of([[(480, 120)], []], minute=500, supply_index=np.array([0, 1]))
    assert apart.not_before_min.tolist() == [720, 520]


def test_the_rest_of_a_day_is_planned_after_what_has_run() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    whole, _ = plan_of(blocks, even_days(), 6.0)
    starts, durations = pulses_of(whole)
    minute = starts[0] + 5
    committed = committed_of([list(zip(starts, durations, strict=True))], minute=minute)
    again, _ = plan_of(blocks, even_days(), 6.0, committed=committed)
    new_starts, new_durations = pulses_of(again)
    assert (new_starts[0], new_durations[0]) == (starts[0], durations[0])
    assert new_starts[1] >= new_starts[0] + 2 * new_durations[0]
    assert again.schedule.planned_min[0] == sum(new_durations)
    assert again.schedule.planned_net_mm[0] == pytest.approx(
        whole.schedule.planned_net_mm[0], abs=1.5 * again.net_rate_mm_per_min[0]
    )


def test_water_that_ran_beyond_the_need_is_not_taken_back() -> None:
    blocks = batch_of(make_block(curve=MID_KC))
    committed = committed_of([[(240, 400)]], minute=700)
    plan, _ = plan_of(blocks, even_days(), 1.0, committed=committed)
    assert plan.schedule.planned_min.tolist() == [400]
    assert plan.deferred_mm.tolist() == [0.0]


def some_windows(opens: int, closes: int, *, block_count: int) -> WindowBatch:
    return WindowBatch(
        opens_min=np.full((block_count, 1), opens),
        closes_min=np.full((block_count, 1), closes),
        is_outage=np.zeros(block_count, dtype=np.bool_),
    )


@given(
    kept=st.lists(st.tuples(st.integers(0, 1300), st.integers(1, 140)), min_size=1, max_size=6),
    closing_min=st.integers(0, 10),
)
def test_beside_kept_pulses_a_neighbour_has_every_minute_but_theirs(
    kept: list[tuple[int, int]], closing_min: int
) -> None:
    beside = windows_beside(
        some_windows(200, 1200, block_count=3),
        [[Pulse(*pulse) for pulse in kept], [], []],
        supply_index=np.array([0, 0, 1]),
        flow_l_per_h=np.array([6.0, 6.0, 6.0]),
        supply_flow_l_per_h=np.array([10.0, 10.0]),
        valve_gap_min=np.array([2, closing_min, 50]),
    )
    busy = {
        minute
        for start, length in kept
        for minute in range(start - closing_min, start + length + 2)
    }
    open_minutes = [
        {
            minute
            for opens, closes in zip(own_opens, own_closes, strict=True)
            for minute in range(opens, closes)
        }
        for own_opens, own_closes in zip(
            beside.opens_min.tolist(), beside.closes_min.tolist(), strict=True
        )
    ]
    whole = set(range(200, 1200))
    assert open_minutes == [whole, whole - busy, whole]


def test_where_the_flow_is_enough_for_all_nobody_waits() -> None:
    windows = some_windows(200, 1200, block_count=2)
    beside = windows_beside(
        windows,
        [[Pulse(300, 60)], []],
        supply_index=np.array([0, 0]),
        flow_l_per_h=np.array([6.0, 4.0]),
        supply_flow_l_per_h=np.array([10.0]),
        valve_gap_min=np.array([1, 1]),
    )
    assert beside.opens_min.tolist() == windows.opens_min.tolist()
    assert beside.closes_min.tolist() == windows.closes_min.tolist()
