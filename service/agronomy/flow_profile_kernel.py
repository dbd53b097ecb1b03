"""Compiled search for free flow: a supply minute by minute, and pulses put into its gaps.

In: the flow that is free in each minute of the day, and blocks with their windows. Out: starts of
pulses that fit into it. The earliest place is taken for each pulse ("first fit"); for pulses of one
length that is also the way to place the most of them.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.list_schedule_kernel import BlockCourse
from service.agronomy.pulse_kernel import (
    FLOW_TOLERANCE_L_PER_H,
    BlockDay,
    before_pulse,
    begin_depletion,
    divisible_minutes,
    off_time_min,
    pulse_length_min,
    room_minute,
    whole_minutes,
)
from service.agronomy.records import Floats, Ints
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import compiled

FINEST_STEP = 0.01  # of a tier's depth: what the gaps are shared out in at last


@compiled
def first_gap(
    block: BlockDay,
    free_l_per_h: Floats,
    opens_min: Ints,
    closes_min: Ints,
    from_min: int,
    duration_min: int,
) -> int:
    """First minute from which a pulse lies inside a window and has its flow to the valve's end."""
    wanted_l_per_h = block.flow_l_per_h - FLOW_TOLERANCE_L_PER_H
    for window in range(opens_min.shape[0]):
        start_min = max(from_min, opens_min[window])
        latest_min = min(
            closes_min[window] - duration_min, opens_min[window] + block.start_within_min
        )
        while start_min <= latest_min:
            # From the end backwards: the last minute without flow says how far to move on.
            minute = start_min + duration_min + block.valve_gap_min - 1
            while minute >= start_min and free_l_per_h[minute] >= wanted_l_per_h:
                minute -= 1
            if minute < start_min:
                return int(start_min)
            start_min = minute + 1
    return NEVER_MIN


@compiled
def add_flow(
    free_l_per_h: Floats, block: BlockDay, course: BlockCourse, starts_min: Ints, sign: float
) -> None:
    """Give a block's flow back to the supply (+1), or take it (-1), for all of its pulses."""
    for position in range(course.pulse_count):
        length_min = pulse_length_min(course.total_min, course.pulse_count, position)
        start_min = starts_min[position]
        for minute in range(start_min, start_min + length_min + block.valve_gap_min):
            free_l_per_h[minute] += sign * block.flow_l_per_h


@compiled
def lay_in_gaps(
    block: BlockDay,
    opens_min: Ints,
    closes_min: Ints,
    free_l_per_h: Floats,
    total_min: int,
    pulse_count: int,
    off_ratio: float,
    starts_min: Ints,
) -> bool:
    """Whether all pulses of a total find a place in the free flow; writes their starts."""
    depletion_mm, share = begin_depletion(block)
    free_from_min = block.not_before_min
    for position in range(pulse_count):
        length_min = pulse_length_min(total_min, pulse_count, position)
        net_mm = length_min * block.net_rate_mm_per_min
        from_min = max(free_from_min, room_minute(block, depletion_mm, share, net_mm))
        start_min = first_gap(block, free_l_per_h, opens_min, closes_min, from_min, length_min)
        if start_min == NEVER_MIN:
            return False
        starts_min[position] = start_min
        depletion_mm, share = before_pulse(block, depletion_mm, share, float(start_min))
        depletion_mm -= net_mm
        off_min = off_time_min(length_min, off_ratio, block.valve_gap_min)
        free_from_min = start_min + length_min + off_min
    return True


@compiled
def raise_total(
    block: BlockDay,
    course: BlockCourse,
    opens_min: Ints,
    closes_min: Ints,
    free_l_per_h: Floats,
    total_min: int,
    most_pulses: int,
    starts_min: Ints,
) -> bool:
    """Give a block a larger total if the free flow takes it, however its pulses lie until then.

    With as many pulses as it has, then with more and shorter ones; last with off times once the
    pulse, as for a block that does not fit alone.
    """
    fewest = max(course.pulse_count, -(-total_min // block.longest_pulse_min))
    most = min(max(fewest, most_pulses), total_min // block.shortest_pulse_min)
    most = min(most, starts_min.shape[0], block.most_pulse_count)
    add_flow(free_l_per_h, block, course, starts_min, 1.0)
    trial_min = np.empty_like(starts_min)
    off_ratio = course.off_ratio
    is_laid = False
    while True:
        for pulse_count in range(fewest, most + 1):
            is_laid = lay_in_gaps(
                block,
                opens_min,
                closes_min,
                free_l_per_h,
                total_min,
                pulse_count,
                off_ratio,
                trial_min,
            )
            if is_laid:
                course.total_min = total_min
                course.pulse_count = pulse_count
                course.off_ratio = off_ratio
                starts_min[:pulse_count] = trial_min[:pulse_count]
                break
        if is_laid or off_ratio <= 1.0:
            break
        off_ratio = 1.0
    add_flow(free_l_per_h, block, course, starts_min, -1.0)
    return is_laid


@compiled
def share_total(block: BlockDay, course: BlockCourse, share: float) -> int:
    """Minutes that a share of the tier at hand comes to, in whole pulses, or the own cap."""
    depth_mm = course.granted_mm + share * course.tier_mm
    total_min = min(course.alone_min, whole_minutes(depth_mm, block.net_rate_mm_per_min))
    if total_min == course.alone_min:
        return int(total_min)
    return divisible_minutes(total_min, block.shortest_pulse_min, block.longest_pulse_min)


@compiled
def has_gap(
    block: BlockDay,
    course: BlockCourse,
    opens_min: Ints,
    closes_min: Ints,
    free_l_per_h: Floats,
    starts_min: Ints,
) -> bool:
    """Whether the free flow takes a little more of the block's tier; changes nothing."""
    total_min = course.total_min
    share = course.tier_share
    while total_min <= course.total_min:
        if share >= 1.0:
            return False
        share = min(1.0, share + FINEST_STEP)
        total_min = share_total(block, course, share)
    trial_min = np.empty_like(starts_min)
    add_flow(free_l_per_h, block, course, starts_min, 1.0)
    fewest = max(course.pulse_count, -(-total_min // block.longest_pulse_min))
    is_laid = False
    most = min(fewest + 1, total_min // block.shortest_pulse_min, block.most_pulse_count)
    for pulse_count in range(fewest, most + 1):
        is_laid = lay_in_gaps(
            block,
            opens_min,
            closes_min,
            free_l_per_h,
            total_min,
            pulse_count,
            course.off_ratio,
            trial_min,
        )
        if is_laid:
            break
    add_flow(free_l_per_h, block, course, starts_min, -1.0)
    return is_laid
