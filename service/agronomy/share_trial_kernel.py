"""Compiled trials: does a share of a tier fit a supply, and which is the largest that does.

In: the blocks of one supply, some of them rising. Out: a share, and the rule of order with which
all blocks fit.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.block_packing_kernel import pack_whole
from service.agronomy.flow_profile_kernel import share_total
from service.agronomy.list_schedule_kernel import (
    LEAST_SLACK_FIRST,
    LEAST_SLACK_SHORT_REST,
    RULE_COUNT,
    WHOLE_BLOCKS,
    SharedSupply,
    run_list,
)
from service.agronomy.pulse_kernel import plan_alone
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import compiled

SHARE_STEPS = 14  # halvings of the bisection at most
FINEST_SHARE = 5e-3  # what a common share is known to; the gaps take what is left


@compiled
def set_totals(supply: SharedSupply, share: float) -> None:
    """Give every block its pulses: the rising ones at a common share of the tier at hand."""
    no_starts = np.empty(0, np.int64)
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        total_min = share_total(block, course, share if course.is_rising else course.tier_share)
        if total_min == course.alone_min:
            course.total_min = total_min
            course.pulse_count = course.alone_count
            course.off_ratio = course.alone_off_ratio
            continue
        fewest = -(-course.alone_min // block.longest_pulse_min)
        if course.alone_count == fewest and course.alone_off_ratio == block.off_ratio:
            # What fits alone in the fewest pulses fits so with fewer minutes.
            course.total_min = total_min
            course.pulse_count = -(-total_min // block.longest_pulse_min)
            course.off_ratio = block.off_ratio
        else:
            course.total_min, course.pulse_count, course.off_ratio = plan_alone(
                block,
                supply.opens_min[block_index],
                supply.closes_min[block_index],
                total_min,
                no_starts,
            )


@compiled
def have_equal_windows(supply: SharedSupply) -> bool:
    """Whether all blocks may run in the same hours."""
    for block_index in supply.members:
        for window in range(supply.opens_min.shape[1]):
            if (
                supply.opens_min[block_index, window] != supply.opens_min[supply.members[0], window]
                or supply.closes_min[block_index, window]
                != supply.closes_min[supply.members[0], window]
            ):
                return False
    return True


@compiled
def shorten_rests(supply: SharedSupply) -> bool:
    """Set longer off times to once the pulse; returns whether there was any."""
    has_longer_rest = False
    for block_index in supply.members:
        course = supply.courses[block_index]
        if course.off_ratio > 1.0:
            course.off_ratio = 1.0
            has_longer_rest = True
    return has_longer_rest


@compiled
def horizon_min(supply: SharedSupply) -> int:
    """The last minute in which any valve may still take flow."""
    last_min = 0
    for block_index in supply.members:
        end_min = (
            int(np.max(supply.closes_min[block_index])) + supply.days[block_index].valve_gap_min
        )
        last_min = max(last_min, end_min)
    return last_min


@compiled
def try_share(supply: SharedSupply, share: float, first_rule: int) -> int:
    """A rule of order with which all blocks fit at a share of the tier, or -1.

    The rule that fitted last is tried first, then the others in their order.
    """
    has_equal_windows = have_equal_windows(supply)
    for turn in range(-1, RULE_COUNT):
        rule = first_rule if turn < 0 else turn
        if turn == first_rule or (rule == LEAST_SLACK_FIRST and has_equal_windows):
            continue  # the order would be one that was tried
        set_totals(supply, share)
        if rule == LEAST_SLACK_SHORT_REST and not shorten_rests(supply):
            continue
        if rule == WHOLE_BLOCKS:
            if pack_whole(
                supply, np.full(horizon_min(supply), supply.flow_l_per_h), has_equal_windows
            ):
                return rule
        elif run_list(
            supply.days,
            supply.courses,
            supply.opens_min,
            supply.closes_min,
            supply.members,
            supply.flow_l_per_h,
            rule,
            supply.slot_offset,
            supply.starts_min,
        ):
            return rule
    return -1


@compiled
def open_volume(supply: SharedSupply) -> float:
    """What the supply gives from the first opening of any window to the last closing [L/h min]."""
    first_open_min = NEVER_MIN
    last_close_min = 0
    for block_index in supply.members:
        for window in range(supply.opens_min.shape[1]):
            if supply.closes_min[block_index, window] > supply.opens_min[block_index, window]:
                first_open_min = min(first_open_min, supply.opens_min[block_index, window])
                last_close_min = max(last_close_min, supply.closes_min[block_index, window])
    return supply.flow_l_per_h * max(0, last_close_min - first_open_min)


@compiled
def share_by_volume(supply: SharedSupply) -> float:
    """Largest common share for which the supply has the water at all, windows and order aside."""
    volume = open_volume(supply)
    enough = 0.0
    too_much = 1.0
    for _ in range(20):
        share = (enough + too_much) / 2.0
        asked = 0.0
        for block_index in supply.members:
            course = supply.courses[block_index]
            own_share = share if course.is_rising else course.tier_share
            block = supply.days[block_index]
            asked += block.flow_l_per_h * share_total(block, course, own_share)
        if asked <= volume:
            enough = share
        else:
            too_much = share
    return too_much


@compiled
def largest_share(supply: SharedSupply, fits: float, rule: int) -> tuple[float, int]:
    """Largest common share of a tier that fits, and the rule of order with which it does.

    ``fits`` is a share that is known to fit with ``rule``.
    """
    fails = share_by_volume(supply)
    least = fits
    for step in range(SHARE_STEPS):
        if fails - fits < FINEST_SHARE:
            break
        share = (fits + fails) / 2.0
        if step < 2 and fits == least:
            # The volume is mostly nearly reached: look close below it first.
            share = least + (fails - least) * (0.97 if step == 0 else 0.9)
        found_rule = try_share(supply, share, rule)
        if found_rule >= 0:
            fits = share
            rule = found_rule
        else:
            fails = share
    return fits, rule
