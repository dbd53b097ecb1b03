"""A short supply: blocks of a rank that can have more lie within 0.012 of each other's share.

That a block could have more is shown by an exchange: it gets its next minute, one far above it
gives as many, and all pulses, put again in the order of their starts, find a place. The check is
written without the planner's code. A minute of a need of n minutes is a share of 1/n, and the first
minutes are a whole shortest pulse, so that the bound is the larger of 0.012 and such a step.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.pulse_plan import PulseDemand, PulseSchedule
from service.agronomy.supply import schedule_supplies
from tests.agronomy.pulse_demands import assert_rules_hold, make_demand, pulses_of

EVEN_SHARE = 0.012
SUPPLY_L_PER_H = 10000.0
RATE_MM_PER_MIN = 0.05
SOIL = {
    "depletion_after_rain_mm": 1000.0,
    "crop_et_mm": 0.0,
    "taw_mm": 3000.0,
    "raw_mm": 2000.0,
    "net_rate_mm_per_min": RATE_MM_PER_MIN,
    "daily_maximum_min": 1440,
}


@st.composite
def short_supplies(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Two to twelve blocks of unlike needs, most of which cannot run beside all others."""
    open_min = draw(st.integers(240, 900))
    takes_turns = draw(st.booleans())
    has_own_hours = draw(st.booleans())
    blocks = []
    for _ in range(draw(st.integers(2, 12))):
        opens_min, closes_min = 240, 240 + open_min
        if has_own_hours:
            opens_min += draw(st.integers(0, open_min // 2))
            closes_min = draw(st.integers(opens_min + 60, 240 + open_min))
        blocks.append(
            SOIL
            | {
                "need_mm": RATE_MM_PER_MIN * draw(st.integers(60, 500)),
                "flow_l_per_h": float(draw(st.integers(5100 if takes_turns else 500, 9900))),
                "windows": ((opens_min, closes_min),),
                "longest_pulse_min": draw(st.integers(30, 240)),
                "off_ratio": draw(st.sampled_from([1.0, 1.5, 2.0])),
            }
        )
    return blocks


def fit_in_order(
    demand: PulseDemand, schedule: PulseSchedule, minutes: list[int], order: list[int]
) -> bool:
    """Whether all pulses find a place, each at its earliest, in an order of blocks."""
    free = np.full(1450, SUPPLY_L_PER_H)
    ready = [0] * len(minutes)
    begun = [0] * len(minutes)
    for block in order:
        count = order.count(block)
        length = minutes[block] // count + (begun[block] < minutes[block] % count)
        flow = float(demand.flow_l_per_h[block])
        opens = int(demand.windows.opens_min[block, 0])
        closes = int(demand.windows.closes_min[block, 0])
        short_before = np.concatenate([[0], np.cumsum(free < flow - 1e-6)])
        for start in range(max(ready[block], opens), closes - length + 1):
            if short_before[start + length] == short_before[start]:
                break
        else:
            return False
        free[start : start + length] -= flow
        rest = math.ceil(float(schedule.used_off_ratio[block]) * length - 1e-9)
        ready[block] = start + length + rest
        begun[block] += 1
    return True


def could_have_more(
    demand: PulseDemand, schedule: PulseSchedule, low: int, high: int, order: list[int]
) -> bool:
    """Whether a block takes its next minutes if another gives as many and stays above it."""
    shortest, longest = int(demand.shortest_pulse_min[low]), int(demand.longest_pulse_min[low])
    minutes = schedule.planned_min.tolist()
    step = max(minutes[low] + 1, shortest) - minutes[low]
    count = max(1, order.count(low))
    wanted, share = schedule.wanted_min, schedule.planned_min / schedule.wanted_min
    if minutes[low] + step > count * longest:
        return False
    left = minutes[high] - step
    if left < int(demand.shortest_pulse_min[high]):
        return False
    step_of_high = 1 / wanted[high]
    bound = max(EVEN_SHARE, step / wanted[low], step_of_high) + 1e-9
    if share[high] - share[low] <= bound or left / wanted[high] <= share[low]:
        return False
    minutes[low] += step
    minutes[high] = left
    fewer = left // int(demand.shortest_pulse_min[high])
    kept: list[int] = []
    for block in order if low in order else [*order, low]:
        if block != high or kept.count(high) < fewer:
            kept.append(block)
    return fit_in_order(demand, schedule, minutes, kept)


@given(short_supplies())
def test_no_block_could_have_more_from_one_far_above_it(blocks: list[dict[str, Any]]) -> None:
    demand, supply = make_demand(*blocks), np.array([SUPPLY_L_PER_H])
    schedule = schedule_supplies(demand, supply)
    assert_rules_hold(demand, schedule, supply)
    starts = sorted(
        (start, -float(demand.flow_l_per_h[block]), block)
        for block in range(len(blocks))
        for start, _ in pulses_of(schedule, block)
    )
    order = [block for _, _, block in starts]
    alone_min = np.round(schedule.alone_share * schedule.wanted_min)
    for low in np.flatnonzero(schedule.planned_min < alone_min).tolist():
        for high in range(len(blocks)):
            assert not could_have_more(demand, schedule, low, high, order), (low, high)


@pytest.mark.parametrize(("block_count", "open_min"), [(7, 510), (5, 613), (9, 505), (12, 881)])
def test_the_last_minutes_go_round_equal_blocks(block_count: int, open_min: int) -> None:
    block = SOIL | {
        "need_mm": 12.5,
        "flow_l_per_h": 6000.0,
        "longest_pulse_min": 240,
        "off_ratio": 1.0,
        "windows": ((240, 240 + open_min),),
    }
    schedule = schedule_supplies(make_demand(*[block] * block_count), np.array([SUPPLY_L_PER_H]))
    assert schedule.planned_min.sum() == open_min
    # 0.01 of 250 min is 2.5: shares that close are left alone.
    assert np.ptp(schedule.planned_min) <= 2


@given(st.lists(st.integers(84, 480), min_size=2, max_size=12), st.integers(240, 700))
def test_blocks_of_unlike_needs_that_take_turns_get_one_share(
    wanted_min: list[int], open_min: int
) -> None:
    # One pulse each, one block at a time: nothing but the pump's minutes limits any of them.
    blocks = [
        SOIL
        | {
            "need_mm": RATE_MM_PER_MIN * wanted,
            "flow_l_per_h": 6000.0,
            "longest_pulse_min": 480,
            "shortest_pulse_min": 1,
            "off_ratio": 1.0,
            "windows": ((240, 240 + open_min),),
        }
        for wanted in wanted_min
    ]
    schedule = schedule_supplies(make_demand(*blocks), np.array([SUPPLY_L_PER_H]))
    shares = schedule.planned_min / schedule.wanted_min
    is_cut = schedule.planned_min < np.minimum(schedule.wanted_min, open_min)
    assert schedule.planned_min.sum() == min(open_min, sum(wanted_min))
    if is_cut.any():
        assert shares.max() - shares[is_cut].min() <= EVEN_SHARE + 1e-9
