"""Compiled schedule of pulses one after another: each at its earliest, in a given order.

In: the pulses of one supply's blocks, and an order. Out: their starts, or that one has no place
("serial schedule generation", Kolisch 1996, from memory). Pulses put again in the order of their
own starts find a place no later than they had.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.flow_profile_kernel import first_gap
from service.agronomy.list_schedule_kernel import SharedSupply, begin_course
from service.agronomy.pulse_kernel import (
    before_pulse,
    off_time_min,
    pulse_length_min,
    room_minute,
)
from service.agronomy.records import Ints
from service.agronomy.share_trial_kernel import horizon_min
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import compiled


@compiled
def in_order_of_start(supply: SharedSupply, pulse_count: int) -> tuple[Ints, Ints]:
    """The block of each pulse in order of their starts, and those starts.

    Of pulses that start together those of more flow come first.
    """
    owner = np.empty(pulse_count, np.int64)
    start_min = np.empty(pulse_count, np.int64)
    count = 0
    for block_index in supply.members:
        flow_l_per_h = supply.days[block_index].flow_l_per_h
        for position in range(supply.courses[block_index].pulse_count):
            start = supply.starts_min[supply.slot_offset[block_index] + position]
            place = count
            while place > 0 and (
                start_min[place - 1] > start
                or (
                    start_min[place - 1] == start
                    and supply.days[owner[place - 1]].flow_l_per_h < flow_l_per_h
                )
            ):
                owner[place] = owner[place - 1]
                start_min[place] = start_min[place - 1]
                place -= 1
            owner[place] = block_index
            start_min[place] = start
            count += 1
    return owner, start_min


@compiled
def place_in_order(
    supply: SharedSupply, owner: Ints, give_up_min: int, start_min: Ints
) -> tuple[int, int]:
    """Put each pulse of an order at its earliest, and note the starts.

    Returns the end of the last one, or ``NEVER_MIN`` where a pulse has no place or ends too late,
    and the number of pulses that were tried.
    """
    free_l_per_h = np.full(horizon_min(supply), supply.flow_l_per_h)
    for block_index in supply.members:
        if supply.courses[block_index].pulse_count > 0:
            begin_course(
                supply.days[block_index],
                supply.courses[block_index],
                supply.opens_min[block_index],
                supply.closes_min[block_index],
            )
    last_end_min = 0
    for place, block_index in enumerate(owner):
        block = supply.days[block_index]
        course = supply.courses[block_index]
        length_min = pulse_length_min(course.total_min, course.pulse_count, course.next_pulse)
        net_mm = length_min * block.net_rate_mm_per_min
        from_min = course.ready_min
        if course.next_pulse > 0:
            from_min = max(
                from_min, room_minute(block, course.depletion_mm, course.et_share, net_mm)
            )
        start = first_gap(
            block,
            free_l_per_h,
            supply.opens_min[block_index],
            supply.closes_min[block_index],
            from_min,
            length_min,
        )
        end_min = start + length_min
        if start + course.remaining_min > min(course.last_close_min, give_up_min - 1):
            return NEVER_MIN, place + 1
        start_min[place] = start
        last_end_min = max(last_end_min, end_min)
        free_l_per_h[start : end_min + block.valve_gap_min] -= block.flow_l_per_h
        depletion_mm, share = before_pulse(
            block, course.depletion_mm, course.et_share, float(start)
        )
        course.depletion_mm = depletion_mm - net_mm
        course.et_share = share
        course.next_pulse += 1
        off_min = off_time_min(length_min, course.off_ratio, block.valve_gap_min)
        course.remaining_min -= length_min + off_min
        course.ready_min = end_min + off_min
    return last_end_min, owner.shape[0]


@compiled
def write_starts(supply: SharedSupply, owner: Ints, start_min: Ints) -> None:
    """Keep the starts of an order, each at the place of its block's pulse."""
    for block_index in supply.members:
        supply.courses[block_index].next_pulse = 0
    for place, block_index in enumerate(owner):
        course = supply.courses[block_index]
        slot = supply.slot_offset[block_index] + course.next_pulse
        supply.starts_min[slot] = start_min[place]
        course.next_pulse += 1
