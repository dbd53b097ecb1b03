"""Compiled search for an order of pulses with which a supply is done with its day sooner.

In: the pulses of one supply's blocks that fit whole, with their starts. Out: starts with which the
last pulse ends sooner, if any were found. The pulses are put one after another in the order of
their starts; then one of them is moved forward in that order, or two are exchanged, and what does
not end later stays. The steps follow a fixed sequence of numbers, and their count is limited, so
that a day is always planned in the same way.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.list_schedule_kernel import SharedSupply
from service.agronomy.pulse_kernel import lay_pulses, pulse_length_min
from service.agronomy.records import Ints
from service.agronomy.serial_schedule_kernel import (
    in_order_of_start,
    place_in_order,
    write_starts,
)
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import compiled

SEARCHED_BLOCKS = 30  # of more blocks the order matters little
MOST_TRIALS = 120
QUIET_TRIALS = 40  # in a row that end no sooner, after which no more are made
MOST_PLACEMENTS = 5000  # of pulses, in all trials
LATE_ENOUGH = 1.02  # nothing more is searched where the end is that close to the earliest possible


@compiled
def next_number(number: int) -> int:
    """The number after another in a fixed sequence that looks random (from memory)."""
    return (number * 1103515245 + 12345) % (1 << 31)


@compiled
def earliest_end_min(supply: SharedSupply) -> float:
    """Minute before which no schedule of the pulses can end."""
    area_l = 0.0
    exclusive_min = 0
    first_min = NEVER_MIN
    latest_min = 0
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        if course.pulse_count == 0:
            continue
        first_start_min = np.empty(1, np.int64)
        _, end_min, _ = lay_pulses(
            block,
            supply.opens_min[block_index],
            supply.closes_min[block_index],
            course.total_min,
            course.pulse_count,
            course.off_ratio,
            first_start_min,
        )
        latest_min = max(latest_min, end_min)
        first_min = min(first_min, first_start_min[0])
        area_l += course.total_min * block.flow_l_per_h
        if block.flow_l_per_h > 0.5 * supply.flow_l_per_h:
            exclusive_min += course.total_min
    length_min = max(area_l / supply.flow_l_per_h, float(exclusive_min))
    return max(first_min + length_min, float(latest_min))


@compiled
def change_order(owner: Ints, number: int) -> int:
    """Move one pulse forward in an order, or exchange two; returns the next number."""
    number = next_number(number)
    first = (number >> 8) % owner.shape[0]
    number = next_number(number)
    last = (number >> 8) % owner.shape[0]
    first, last = min(first, last), max(first, last)
    number = next_number(number)
    moved = owner[last]
    if (number >> 8) % 3 == 0:
        owner[last] = owner[first]
    else:
        for place in range(last, first, -1):
            owner[place] = owner[place - 1]
    owner[first] = moved
    return number


@compiled
def finish_sooner(supply: SharedSupply) -> None:
    """Let the last pulse of a supply end sooner, if an order with which it does is found."""
    pulse_count = 0
    block_count = 0
    for block_index in supply.members:
        pulse_count += supply.courses[block_index].pulse_count
        block_count += supply.courses[block_index].pulse_count > 0
    if not 1 < block_count <= SEARCHED_BLOCKS:
        return
    last_end_min = 0
    for block_index in supply.members:
        course = supply.courses[block_index]
        if course.pulse_count > 0:
            last = course.pulse_count - 1
            start = supply.starts_min[supply.slot_offset[block_index] + last]
            length_min = pulse_length_min(course.total_min, course.pulse_count, last)
            last_end_min = max(last_end_min, start + length_min)
    earliest_min = earliest_end_min(supply)
    if last_end_min <= LATE_ENOUGH * earliest_min:
        return
    owner, best_start_min = in_order_of_start(supply, pulse_count)
    best_owner = owner.copy()
    trial, start_min = owner.copy(), best_start_min.copy()
    best_end_min = last_end_min
    number = 1
    placement_count = 0
    quiet_count = 0
    for turn in range(MOST_TRIALS):
        if (
            best_end_min <= LATE_ENOUGH * earliest_min
            or placement_count > MOST_PLACEMENTS
            or quiet_count > QUIET_TRIALS
        ):
            break
        quiet_count += 1
        if turn > 0:
            trial[:] = owner
            number = change_order(trial, number)
        end_min, tried_count = place_in_order(supply, trial, best_end_min + 1, start_min)
        placement_count += tried_count
        if end_min == NEVER_MIN:
            continue
        order = np.argsort(start_min, kind="mergesort")
        for place, earlier in enumerate(order):
            owner[place] = trial[earlier]
        if end_min < best_end_min:
            best_end_min = end_min
            quiet_count = 0
            best_owner[:] = trial
            best_start_min[:] = start_min
    if best_end_min < last_end_min:
        write_starts(supply, best_owner, best_start_min)
