"""Compiled list schedule of the blocks that share a supply: whose pulse starts next.

In: the pulses that each block is to run, as a total and a count, and the flow of the supply. Out:
their starts, or that they do not fit. Whenever flow is free, the ready pulse that comes first by a
rule of order starts. List scheduling after Graham 1966 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from service.agronomy.pulse_kernel import (
    FLOW_TOLERANCE_L_PER_H,
    BlockDay,
    before_pulse,
    begin_depletion,
    chain_min,
    off_time_min,
    pulse_length_min,
    room_minute,
)
from service.agronomy.records import Ints
from service.agronomy.window_kernel import NEVER_MIN, window_latest_start, window_start
from service.kernels import Records, compiled, record_layout

# Ordering rules, tried one after another when the blocks do not fit.
LONGEST_FIRST = 0  # longest time left to run, off times included
LEAST_SLACK_FIRST = 1  # least time left in the windows beyond that; the same where all are alike
LEAST_SLACK_HOLDING = 2  # ... and flow is held back for a block that needs more than is free
LARGEST_HOLDING = 3  # longest time left, times flow; flow is held back
LEAST_SLACK_SHORT_REST = 4  # off time once the pulse, as for a block that does not fit alone
LIST_RULE_COUNT = 5
WHOLE_BLOCKS = 5  # no list: one block after the other is put whole into the flow that is free
RULE_COUNT = 6


class BlockCourse(Protocol):
    """How far a block has come: its pulses for a total, and the state of a list schedule."""

    # What it asks for and could have alone.
    wanted_min: int
    alone_min: int
    alone_count: int
    alone_off_ratio: float
    # What it may have so far, and what the tier at hand would add.
    granted_mm: float
    tier_mm: float
    tier_share: float
    is_rising: int
    urgent_share: float
    rest_share: float
    # The pulses of the trial at hand.
    total_min: int
    pulse_count: int
    off_ratio: float
    # The list schedule at hand.
    next_pulse: int
    ready_min: int
    latest_min: int
    flow_until_min: int
    remaining_min: int
    last_close_min: int
    depletion_mm: float
    et_share: float
    reserving_at_min: int


BLOCK_COURSE = record_layout(BlockCourse)


class SharedSupply(NamedTuple):
    """The blocks of one supply among those of a day, and where their starts go."""

    days: Records
    courses: Records
    opens_min: Ints
    closes_min: Ints
    members: Ints
    """Rows of the supply's blocks."""
    flow_l_per_h: float
    slot_offset: Ints
    """Where the starts of each block begin."""
    starts_min: Ints


@compiled
def find_next_start(
    block: BlockDay, course: BlockCourse, opens_min: Ints, closes_min: Ints, from_min: int
) -> None:
    """Note the first minute, not before a given one, at which the block's next pulse may start."""
    length_min = pulse_length_min(course.total_min, course.pulse_count, course.next_pulse)
    net_mm = length_min * block.net_rate_mm_per_min
    room_min = room_minute(block, course.depletion_mm, course.et_share, net_mm)
    within_min = block.start_within_min
    from_min = max(from_min, room_min)
    course.ready_min = window_start(opens_min, closes_min, from_min, length_min, within_min)
    course.latest_min = window_latest_start(
        opens_min, closes_min, course.ready_min, length_min, within_min
    )


@compiled
def begin_course(block: BlockDay, course: BlockCourse, opens_min: Ints, closes_min: Ints) -> None:
    """Put a block at the start of its day, before its first pulse."""
    course.next_pulse = 0
    course.depletion_mm, course.et_share = begin_depletion(block)
    course.flow_until_min = -1
    course.reserving_at_min = -1
    course.last_close_min = int(np.max(closes_min))
    course.remaining_min = chain_min(
        course.total_min, course.pulse_count, course.off_ratio, block.valve_gap_min
    )
    find_next_start(block, course, opens_min, closes_min, block.not_before_min)


@compiled
def start_pulse(
    block: BlockDay, course: BlockCourse, opens_min: Ints, closes_min: Ints, now_min: int
) -> None:
    """Let a block's next pulse run from now and find when the one after it is ready."""
    length_min = pulse_length_min(course.total_min, course.pulse_count, course.next_pulse)
    net_mm = length_min * block.net_rate_mm_per_min
    depletion_mm, share = before_pulse(block, course.depletion_mm, course.et_share, float(now_min))
    course.depletion_mm = depletion_mm - net_mm
    course.et_share = share
    off_min = off_time_min(length_min, course.off_ratio, block.valve_gap_min)
    course.flow_until_min = now_min + length_min + block.valve_gap_min
    course.remaining_min -= length_min + off_min
    course.next_pulse += 1
    if course.next_pulse < course.pulse_count:
        find_next_start(block, course, opens_min, closes_min, now_min + length_min + off_min)
    else:
        course.ready_min = NEVER_MIN


@compiled
def reserve_flow(
    days: Records,
    courses: Records,
    active: Ints,
    now_min: int,
    free_l_per_h: float,
    wanted_l_per_h: float,
) -> tuple[int, float]:
    """When enough flow for a large block will be free, and how much will then be left over."""
    at_min = now_min
    while free_l_per_h + FLOW_TOLERANCE_L_PER_H < wanted_l_per_h:
        next_min = NEVER_MIN
        for block_index in active:
            until_min = courses[block_index].flow_until_min
            if at_min < until_min < next_min:
                next_min = until_min
        if next_min == NEVER_MIN:
            break
        at_min = next_min
        for block_index in active:
            if courses[block_index].flow_until_min == at_min:
                free_l_per_h += days[block_index].flow_l_per_h
    return at_min, free_l_per_h - wanted_l_per_h


@compiled
def next_event(courses: Records, active: Ints, now_min: int) -> int:
    """The next minute at which a pulse becomes ready or flow is given back."""
    next_min = NEVER_MIN
    for block_index in active:
        course = courses[block_index]
        if now_min < course.ready_min < next_min:
            next_min = course.ready_min
        if now_min < course.flow_until_min < next_min:
            next_min = course.flow_until_min
    return next_min


@compiled
def settle_flow(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    active: Ints,
    now_min: int,
    supply_flow_l_per_h: float,
    free_l_per_h: float,
) -> tuple[int, float]:
    """Take back the flow of closed valves; move blocks that missed their window to the next.

    Blocks that are done leave ``active``. Returns how many stay, or -1 where one can no longer
    place its pulses, and the free flow.
    """
    kept_count = 0
    is_idle = True
    for block_index in active:
        course = courses[block_index]
        if course.flow_until_min == now_min:
            free_l_per_h += days[block_index].flow_l_per_h
            course.flow_until_min = -1
            if course.next_pulse == course.pulse_count:
                continue
        active[kept_count] = block_index
        kept_count += 1
        if course.flow_until_min > now_min:
            is_idle = False
        if course.ready_min > now_min:
            continue
        if now_min + course.remaining_min > course.last_close_min:
            return -1, free_l_per_h
        if now_min > course.latest_min:
            find_next_start(
                days[block_index],
                course,
                opens_min[block_index],
                closes_min[block_index],
                now_min,
            )
            if course.ready_min == NEVER_MIN:
                return -1, free_l_per_h
    if is_idle:
        free_l_per_h = supply_flow_l_per_h  # removes rounding residue
    return kept_count, free_l_per_h


@compiled
def pick_ready(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    active: Ints,
    now_min: int,
    rule: int,
    free_l_per_h: float,
    reserved_min: int,
    spare_l_per_h: float,
) -> int:
    """The ready block that comes first by a rule of order, or -1.

    Of two that are equal the one with more flow comes first, then the one listed first.
    Where a large block has reserved flow, only those are eligible that will have given their flow
    back by then, or that it does not need. Under a holding rule without a reservation yet, the
    block may need more than is free: it is the one to reserve for.
    """
    has_reservation = reserved_min < NEVER_MIN
    may_exceed = not has_reservation and rule in (LEAST_SLACK_HOLDING, LARGEST_HOLDING)
    best_index = -1
    best_key = -1.0
    best_l_per_h = 0.0
    for block_index in active:
        course = courses[block_index]
        if course.ready_min > now_min or course.reserving_at_min == now_min:
            continue
        block = days[block_index]
        flow_l_per_h = block.flow_l_per_h
        if flow_l_per_h > free_l_per_h + FLOW_TOLERANCE_L_PER_H and not may_exceed:
            continue
        if has_reservation and flow_l_per_h > spare_l_per_h + FLOW_TOLERANCE_L_PER_H:
            length_min = pulse_length_min(course.total_min, course.pulse_count, course.next_pulse)
            if now_min + length_min + block.valve_gap_min > reserved_min:
                continue
        key = float(course.remaining_min)
        if rule == LARGEST_HOLDING:
            key *= flow_l_per_h
        elif rule != LONGEST_FIRST:
            # A large constant keeps the key positive.
            open_left_min = 0
            for window in range(opens_min.shape[1]):
                from_min = max(now_min, opens_min[block_index, window])
                open_left_min += max(0, closes_min[block_index, window] - from_min)
            key += 1e6 - open_left_min
        if key > best_key or (key == best_key and flow_l_per_h > best_l_per_h):
            best_key = key
            best_l_per_h = flow_l_per_h
            best_index = block_index
    return int(best_index)


@compiled
def start_ready(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    active: Ints,
    now_min: int,
    rule: int,
    free_l_per_h: float,
    slot_offset: Ints,
    starts_min: Ints,
) -> tuple[bool, float]:
    """Start ready pulses in the order of a rule for as long as the free flow takes them.

    Returns whether every block can still place its next pulse, and the flow that stays free.
    """
    reserved_min = NEVER_MIN
    spare_l_per_h = 0.0
    while True:
        block_index = pick_ready(
            days,
            courses,
            opens_min,
            closes_min,
            active,
            now_min,
            rule,
            free_l_per_h,
            reserved_min,
            spare_l_per_h,
        )
        if block_index < 0:
            return True, free_l_per_h
        block = days[block_index]
        course = courses[block_index]
        if block.flow_l_per_h > free_l_per_h + FLOW_TOLERANCE_L_PER_H:
            course.reserving_at_min = now_min
            reserved_min, spare_l_per_h = reserve_flow(
                days, courses, active, now_min, free_l_per_h, block.flow_l_per_h
            )
            continue
        starts_min[slot_offset[block_index] + course.next_pulse] = now_min
        start_pulse(block, course, opens_min[block_index], closes_min[block_index], now_min)
        free_l_per_h -= block.flow_l_per_h
        if course.flow_until_min > reserved_min:
            spare_l_per_h -= block.flow_l_per_h
        if course.next_pulse < course.pulse_count and course.ready_min == NEVER_MIN:
            return False, free_l_per_h


@compiled
def run_list(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    supply_flow_l_per_h: float,
    rule: int,
    slot_offset: Ints,
    starts_min: Ints,
) -> bool:
    """Whether a list schedule places every pulse of a supply's blocks; its starts are kept.

    Time goes from event to event: a pulse becomes ready, or flow is given back.
    """
    active = np.empty_like(members)
    active_count = 0
    for block_index in members:
        course = courses[block_index]
        if course.pulse_count == 0:
            continue
        begin_course(days[block_index], course, opens_min[block_index], closes_min[block_index])
        if course.ready_min == NEVER_MIN:
            return False
        active[active_count] = block_index
        active_count += 1
    active = active[:active_count]

    free_l_per_h = supply_flow_l_per_h
    now_min = -1
    while active.shape[0] > 0:
        now_min = next_event(courses, active, now_min)
        if now_min == NEVER_MIN:
            return False
        active_count, free_l_per_h = settle_flow(
            days,
            courses,
            opens_min,
            closes_min,
            active,
            now_min,
            supply_flow_l_per_h,
            free_l_per_h,
        )
        if active_count < 0:
            return False
        active = active[:active_count]
        is_possible, free_l_per_h = start_ready(
            days,
            courses,
            opens_min,
            closes_min,
            active,
            now_min,
            rule,
            free_l_per_h,
            slot_offset,
            starts_min,
        )
        if not is_possible:
            return False
    return True
