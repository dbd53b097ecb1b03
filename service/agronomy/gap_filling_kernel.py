"""Compiled filling of what a supply's pulses leave free, in equal steps for all blocks.

In: the blocks of one supply with their pulses, and the flow that is free beside them. Out: more
pulses, until no block has a gap for one.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.flow_profile_kernel import FINEST_STEP, raise_total, share_total
from service.agronomy.list_schedule_kernel import BlockCourse, SharedSupply
from service.agronomy.records import Floats, Ints
from service.kernels import Records, compiled

WIDEST_STEP = 0.32
EXTRA_PULSES = 2  # more pulses than the block has that are tried for a larger total


@compiled
def by_share(supply: SharedSupply, rising: Ints) -> None:
    """Sort blocks by rank, least share first; of equal ones the one with more flow comes first."""
    for place in range(1, rising.shape[0]):
        block_index = rising[place]
        share = supply.courses[block_index].tier_share
        block = supply.days[block_index]
        before = place - 1
        while before >= 0:
            other = rising[before]
            other_rank = supply.days[other].priority
            other_share = supply.courses[other].tier_share
            if other_rank < block.priority or (
                other_rank == block.priority
                and (
                    other_share < share
                    or (
                        other_share == share
                        and supply.days[other].flow_l_per_h >= block.flow_l_per_h
                    )
                )
            ):
                break
            rising[before + 1] = other
            before -= 1
        rising[before + 1] = block_index


@compiled
def raise_share(supply: SharedSupply, free_l_per_h: Floats, block_index: int, step: float) -> bool:
    """Raise a block by a step of its tier, if the free flow takes that."""
    block = supply.days[block_index]
    course = supply.courses[block_index]
    share = min(1.0, course.tier_share + step)
    total_min = share_total(block, course, share)
    if total_min > course.total_min and not raise_total(
        block,
        course,
        supply.opens_min[block_index],
        supply.closes_min[block_index],
        free_l_per_h,
        total_min,
        max(course.pulse_count, -(-total_min // block.longest_pulse_min)) + EXTRA_PULSES,
        supply.starts_min[supply.slot_offset[block_index] : supply.slot_offset[block_index + 1]],
    ):
        return False
    course.tier_share = 1.0 if course.total_min == course.alone_min else share
    return True


@compiled
def raise_by_parts(supply: SharedSupply, free_l_per_h: Floats, block_index: int) -> None:
    """Raise a block that could not take the finest step by parts of it, down to a minute."""
    block = supply.days[block_index]
    course = supply.courses[block_index]
    step = FINEST_STEP / 2.0
    while step * course.tier_mm >= 0.5 * block.net_rate_mm_per_min:
        raise_share(supply, free_l_per_h, block_index, step)
        step /= 2.0


@compiled
def raise_by(
    supply: SharedSupply,
    free_l_per_h: Floats,
    rising: Ints,
    step: float,
    may_fail: bool,
) -> int:
    """Raise every block by a step of its tier; returns how many still rise, or -1 at a failure."""
    kept_count = 0
    for block_index in rising:
        if not raise_share(supply, free_l_per_h, block_index, step):
            if not may_fail:
                return -1
            raise_by_parts(supply, free_l_per_h, block_index)
            continue
        if supply.courses[block_index].tier_share < 1.0:
            rising[kept_count] = block_index
            kept_count += 1
    return kept_count


@compiled
def copy_pulses(course: BlockCourse, to: BlockCourse) -> None:
    """Copy what a step changes of a block besides its starts."""
    to.total_min = course.total_min
    to.pulse_count = course.pulse_count
    to.off_ratio = course.off_ratio
    to.tier_share = course.tier_share


@compiled
def keep_pulses(supply: SharedSupply, rising: Ints, kept: Records, starts_min: Ints) -> None:
    """Note the pulses of the rising blocks, to take a step back to."""
    place = 0
    for position, block_index in enumerate(rising):
        course = supply.courses[block_index]
        copy_pulses(course, kept[position])
        begin = supply.slot_offset[block_index]
        starts_min[place : place + course.pulse_count] = supply.starts_min[
            begin : begin + course.pulse_count
        ]
        place += course.pulse_count


@compiled
def take_back(supply: SharedSupply, rising: Ints, kept: Records, starts_min: Ints) -> None:
    """Put the rising blocks back to the pulses noted."""
    place = 0
    for position, block_index in enumerate(rising):
        course = supply.courses[block_index]
        copy_pulses(kept[position], course)
        begin = supply.slot_offset[block_index]
        supply.starts_min[begin : begin + course.pulse_count] = starts_min[
            place : place + course.pulse_count
        ]
        place += course.pulse_count


@compiled
def fill_gaps(supply: SharedSupply, free_l_per_h: Floats) -> None:
    """Let the blocks of a tier rise in equal steps into what is free, each until it is stuck.

    A step that one of them cannot take is taken back for all and halved; of the finest it takes the
    part that fits, and the others go on without it.
    """
    rising = np.empty_like(supply.members)
    rising_count = 0
    slot_count = 0
    for block_index in supply.members:
        course = supply.courses[block_index]
        if course.is_rising and course.total_min < course.alone_min:
            rising[rising_count] = block_index
            rising_count += 1
            slot_count += supply.slot_offset[block_index + 1] - supply.slot_offset[block_index]
    rising = rising[:rising_count]
    kept_starts_min = np.empty(slot_count, np.int64)
    kept = np.empty(rising_count, supply.courses.dtype)
    kept_free_l_per_h = free_l_per_h.copy()
    step = FINEST_STEP
    while rising.shape[0] > 0:
        by_share(supply, rising)
        before = rising.copy()
        is_finest = step <= FINEST_STEP
        if not is_finest:
            keep_pulses(supply, rising, kept, kept_starts_min)
            kept_free_l_per_h[:] = free_l_per_h
        kept_count = raise_by(supply, free_l_per_h, rising, step, is_finest)
        if kept_count < 0:
            rising = before
            take_back(supply, rising, kept, kept_starts_min)
            free_l_per_h[:] = kept_free_l_per_h
            step /= 2.0
            continue
        rising = rising[:kept_count]
        step = min(2.0 * step, WIDEST_STEP)


@compiled
def add_pulses(supply: SharedSupply, free_l_per_h: Floats) -> bool:
    """Give one more pulse of its length to any block that has a gap for it, until none has.

    Steps that others took later may have opened a gap for one that was stuck before. By rank, least
    share of its cap first. Returns whether any had one.
    """
    short = np.empty_like(supply.members)
    short_count = 0
    for block_index in supply.members:
        course = supply.courses[block_index]
        if course.total_min < course.alone_min:
            course.tier_share = course.total_min / course.alone_min
            short[short_count] = block_index
            short_count += 1
    short = short[:short_count]
    has_any = False
    has_changed = True
    while has_changed:
        has_changed = False
        by_share(supply, short)
        for block_index in short:
            block = supply.days[block_index]
            course = supply.courses[block_index]
            pulse_count = course.pulse_count + 1
            length_min = block.shortest_pulse_min
            if course.pulse_count > 0:
                length_min = course.total_min // course.pulse_count
            begin, end = supply.slot_offset[block_index], supply.slot_offset[block_index + 1]
            total_min = pulse_count * length_min
            if not course.total_min < total_min <= course.alone_min or pulse_count > end - begin:
                continue
            if raise_total(
                block,
                course,
                supply.opens_min[block_index],
                supply.closes_min[block_index],
                free_l_per_h,
                total_min,
                pulse_count,
                supply.starts_min[begin:end],
            ):
                course.tier_share = course.total_min / course.alone_min
                has_changed = True
                has_any = True
    return has_any
