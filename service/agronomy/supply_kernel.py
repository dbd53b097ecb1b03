"""Compiled arithmetic of the blocks that share a supply.

The step after a block's own pulses: who runs when on one supply, which common share of the needs
fits, and what was cut. In: records of blocks, their windows, the flow of the supplies. Out: starts
of pulses, shares and sums. The rules are those of :mod:`service.agronomy.supply`, which is the
public entrance to this file. List scheduling after Graham 1966 (from memory).
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from service.agronomy.pulse_kernel import (
    FLOW_TOLERANCE_L_PER_H,
    BlockDay,
    before_pulse,
    begin_depletion,
    chain_min,
    divisible_minutes,
    event_peak,
    is_complete,
    lay_pulses,
    off_time_min,
    plan_alone,
    pulse_length_min,
    room_minute,
    whole_minutes,
)
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import Floats, Ints
from service.agronomy.units import MINUTES_PER_DAY
from service.agronomy.window_kernel import NEVER_MIN, window_latest_start, window_start
from service.kernels import Records, compiled, record_layout

# Ordering rules, tried one after another when the blocks do not fit.
LONGEST_FIRST = 0  # longest time left to run, off times included
LEAST_SLACK_FIRST = 1  # least time left in the windows beyond that; the same where all are alike
LEAST_SLACK_HOLDING = 2  # ... and flow is held back for a block that needs more than is free
LARGEST_HOLDING = 3  # longest time left, times flow; flow is held back
LEAST_SLACK_SHORT_REST = 4  # off time once the pulse, as for a block that does not fit alone
RULE_COUNT = 5

CAUSE_NONE = int(ShortfallCause.NONE)
CAUSE_SOIL_STORE = int(ShortfallCause.SOIL_STORE)
CAUSE_WINDOWS = int(ShortfallCause.WINDOWS)
CAUSE_SUPPLY = int(ShortfallCause.SUPPLY)
CAUSE_DAILY_MAXIMUM = int(ShortfallCause.DAILY_MAXIMUM)
CAUSE_MINIMUM_PULSE = int(ShortfallCause.MINIMUM_PULSE)
CAUSE_OUTAGE = int(ShortfallCause.OUTAGE)

SHARE_STEPS = 14  # halvings of the bisection: a share is then known to better than 1e-4


class BlockCourse(Protocol):
    """How far a block has come: its pulses for a total, and the state of a list schedule."""

    # What it asks for and could have alone.
    wanted_min: int
    alone_min: int
    alone_count: int
    alone_off_ratio: float
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


class BlockOutcome(Protocol):
    """What the schedule comes to for a block; see ``pulse_plan.PulseSchedule``."""

    pulse_count: int
    planned_min: int
    wanted_min: int
    cause: int
    planned_net_mm: float
    early_net_mm: float
    day_net_mm: float
    used_off_ratio: float
    urgent_share: float
    rest_share: float
    alone_share: float
    event_peak_mm: float


BLOCK_COURSE = record_layout(BlockCourse)
BLOCK_OUTCOME = record_layout(BlockOutcome)


@compiled
def find_next_start(
    block: BlockDay, course: BlockCourse, opens_min: Ints, closes_min: Ints, from_min: int
) -> None:
    """Note the first minute, not before a given one, at which the block's next pulse may start."""
    length_min = pulse_length_min(course.total_min, course.pulse_count, course.next_pulse)
    net_mm = length_min * block.net_rate_mm_per_min
    room_min = room_minute(block, course.depletion_mm, course.et_share, net_mm)
    ready_min = window_start(opens_min, closes_min, max(from_min, room_min), length_min)
    course.ready_min = ready_min
    course.latest_min = window_latest_start(opens_min, closes_min, ready_min, length_min)


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


@compiled
def set_totals(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    urgent_share: float,
    rest_share: float,
) -> None:
    """Give every block of a supply its pulses at the common shares, or at its own cap."""
    no_starts = np.empty(0, np.int64)
    for block_index in members:
        block = days[block_index]
        course = courses[block_index]
        total_min = course.alone_min
        if urgent_share < 1.0 or rest_share < 1.0:
            share_mm = urgent_share * block.urgent_need_mm
            share_mm += rest_share * (block.need_mm - block.urgent_need_mm)
            total_min = min(total_min, whole_minutes(share_mm, block.net_rate_mm_per_min))
        if total_min == course.alone_min:
            course.total_min = total_min
            course.pulse_count = course.alone_count
            course.off_ratio = course.alone_off_ratio
            continue
        total_min = divisible_minutes(total_min, block.shortest_pulse_min, block.longest_pulse_min)
        fewest = -(-course.alone_min // block.longest_pulse_min)
        if course.alone_count == fewest and course.alone_off_ratio == block.off_ratio:
            # What fits alone in the fewest pulses fits so with fewer minutes.
            course.total_min = total_min
            course.pulse_count = -(-total_min // block.longest_pulse_min)
            course.off_ratio = block.off_ratio
        else:
            course.total_min, course.pulse_count, course.off_ratio = plan_alone(
                block, opens_min[block_index], closes_min[block_index], total_min, no_starts
            )


@compiled
def try_shares(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    supply_flow_l_per_h: float,
    shares: tuple[float, float],
    rules: tuple[int, int],
    slot_offset: Ints,
    starts_min: Ints,
) -> int:
    """The first of some rules of order with which all blocks fit at the given shares, or -1."""
    has_equal_windows = True
    for block_index in members:
        for window in range(opens_min.shape[1]):
            if (
                opens_min[block_index, window] != opens_min[members[0], window]
                or closes_min[block_index, window] != closes_min[members[0], window]
            ):
                has_equal_windows = False
    for rule in range(rules[0], rules[1]):
        if rule == LEAST_SLACK_FIRST and has_equal_windows:
            continue  # the order would be that of the rule before
        set_totals(days, courses, opens_min, closes_min, members, shares[0], shares[1])
        if rule == LEAST_SLACK_SHORT_REST:
            has_longer_rest = False
            for block_index in members:
                course = courses[block_index]
                if course.off_ratio > 1.0:
                    course.off_ratio = 1.0
                    has_longer_rest = True
            if not has_longer_rest:
                return -1
        if run_list(
            days,
            courses,
            opens_min,
            closes_min,
            members,
            supply_flow_l_per_h,
            rule,
            slot_offset,
            starts_min,
        ):
            return rule
    return -1


@compiled
def share_by_volume(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    supply_flow_l_per_h: float,
    is_urgent: bool,
) -> float:
    """Largest common share for which the supply has the water at all, windows and order aside."""
    first_open_min = NEVER_MIN
    last_close_min = 0
    for block_index in members:
        for window in range(opens_min.shape[1]):
            if closes_min[block_index, window] > opens_min[block_index, window]:
                first_open_min = min(first_open_min, opens_min[block_index, window])
                last_close_min = max(last_close_min, closes_min[block_index, window])
    volume = supply_flow_l_per_h * max(0, last_close_min - first_open_min)
    enough = 0.0
    too_much = 1.0
    for _ in range(20):
        share = (enough + too_much) / 2.0
        asked = 0.0
        for block_index in members:
            block = days[block_index]
            depth_mm = share * block.urgent_need_mm
            if not is_urgent:
                depth_mm = block.urgent_need_mm + share * (block.need_mm - block.urgent_need_mm)
            minutes = divisible_minutes(
                whole_minutes(depth_mm, block.net_rate_mm_per_min),
                block.shortest_pulse_min,
                block.longest_pulse_min,
            )
            asked += block.flow_l_per_h * min(courses[block_index].alone_min, minutes)
        if asked <= volume:
            enough = share
        else:
            too_much = share
    return too_much


@compiled
def largest_share(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    supply_flow_l_per_h: float,
    is_urgent: bool,
    slot_offset: Ints,
    starts_min: Ints,
) -> tuple[float, int]:
    """Largest common share of a tier that fits, and the rule of order with which it does."""
    fits = 0.0
    fitting_rule = LONGEST_FIRST
    fails = share_by_volume(
        days, courses, opens_min, closes_min, members, supply_flow_l_per_h, is_urgent
    )
    for step in range(SHARE_STEPS):
        share = (fits + fails) / 2.0
        if step < 2 and fits == 0.0:
            # The volume is mostly nearly reached: look close below it first.
            share = fails * (0.97 if step == 0 else 0.9)
        if fails - fits < 1e-4:
            break
        shares = (share, 0.0) if is_urgent else (1.0, share)
        rule = try_shares(
            days,
            courses,
            opens_min,
            closes_min,
            members,
            supply_flow_l_per_h,
            shares,
            (0, RULE_COUNT),
            slot_offset,
            starts_min,
        )
        if rule >= 0:
            fits = share
            fitting_rule = rule
        else:
            fails = share
    return fits, fitting_rule


@compiled
def share_supply(
    days: Records,
    courses: Records,
    opens_min: Ints,
    closes_min: Ints,
    members: Ints,
    supply_flow_l_per_h: float,
    slot_offset: Ints,
    starts_min: Ints,
) -> tuple[float, float]:
    """The common shares of a supply's blocks; writes their pulses to ``courses``."""
    flow_l_per_h = 0.0
    for block_index in members:
        flow_l_per_h += days[block_index].flow_l_per_h
    if flow_l_per_h <= supply_flow_l_per_h:
        set_totals(days, courses, opens_min, closes_min, members, 1.0, 1.0)
        for block_index in members:
            course = courses[block_index]
            lay_pulses(
                days[block_index],
                opens_min[block_index],
                closes_min[block_index],
                course.total_min,
                course.pulse_count,
                course.off_ratio,
                starts_min[slot_offset[block_index] : slot_offset[block_index + 1]],
            )
        return 1.0, 1.0

    urgent_share = 1.0
    rest_share = 1.0
    rule = try_shares(
        days,
        courses,
        opens_min,
        closes_min,
        members,
        supply_flow_l_per_h,
        (1.0, 1.0),
        (0, RULE_COUNT),
        slot_offset,
        starts_min,
    )
    if rule >= 0:
        return 1.0, 1.0
    rest_share = 0.0
    rule = try_shares(
        days,
        courses,
        opens_min,
        closes_min,
        members,
        supply_flow_l_per_h,
        (1.0, 0.0),
        (0, RULE_COUNT),
        slot_offset,
        starts_min,
    )
    if rule < 0:
        urgent_share, rule = largest_share(
            days,
            courses,
            opens_min,
            closes_min,
            members,
            supply_flow_l_per_h,
            True,
            slot_offset,
            starts_min,
        )
    else:
        rest_share, better_rule = largest_share(
            days,
            courses,
            opens_min,
            closes_min,
            members,
            supply_flow_l_per_h,
            False,
            slot_offset,
            starts_min,
        )
        if rest_share > 0.0:
            rule = better_rule
    # The last trial need not be the best one: run the best again, to leave its starts behind.
    try_shares(
        days,
        courses,
        opens_min,
        closes_min,
        members,
        supply_flow_l_per_h,
        (urgent_share, rest_share),
        (rule, rule + 1),
        slot_offset,
        starts_min,
    )
    return urgent_share, rest_share


@compiled
def find_cause(
    block: BlockDay, course: BlockCourse, closes_min: Ints, is_outage: bool, planned_min: int
) -> int:
    """What took most of the minutes that a block wanted and did not get."""
    if planned_min >= course.wanted_min:
        return CAUSE_NONE
    cause = CAUSE_NONE
    most_min = 0
    allowed_min = min(course.wanted_min, block.daily_maximum_min)
    # A maximum of a whole day limits nothing: what binds is the soil, the hours or the supply.
    is_limited = block.daily_maximum_min < MINUTES_PER_DAY
    if is_limited and course.wanted_min - allowed_min > most_min:
        most_min = course.wanted_min - allowed_min
        cause = CAUSE_DAILY_MAXIMUM
    whole_min = divisible_minutes(allowed_min, block.shortest_pulse_min, block.longest_pulse_min)
    if is_limited and whole_min == 0 and allowed_min < course.wanted_min:
        return CAUSE_DAILY_MAXIMUM
    if allowed_min - whole_min > most_min:
        most_min = allowed_min - whole_min
        cause = CAUSE_MINIMUM_PULSE
    if course.alone_min < whole_min:
        # Would it fit if its windows were open all day? If not, and it is the room that delays
        # the pulses, then the soil is what is short.
        starts_min = np.empty(0, np.int64)
        open_min = np.zeros(1, np.int64)
        close_min = np.full(1, max(MINUTES_PER_DAY, np.max(closes_min)), np.int64)
        open_total_min, _, _ = plan_alone(block, open_min, close_min, whole_min, starts_min)
        fewest = -(-whole_min // block.longest_pulse_min)
        _, _, is_room_bound = lay_pulses(
            block, open_min, close_min, whole_min, fewest, block.off_ratio, starts_min
        )
        soil_min = max(course.alone_min, open_total_min) if is_room_bound else whole_min
        if whole_min - soil_min > most_min:
            most_min = whole_min - soil_min
            cause = CAUSE_SOIL_STORE
        if soil_min - course.alone_min > most_min:
            most_min = soil_min - course.alone_min
            cause = CAUSE_OUTAGE if is_outage else CAUSE_WINDOWS
    if course.alone_min - planned_min > most_min:
        cause = CAUSE_SUPPLY
    # More was wanted than a day has minutes, and every one of them is planned.
    return CAUSE_WINDOWS if cause == CAUSE_NONE else cause


@compiled
def report_outcome(
    block: BlockDay,
    course: BlockCourse,
    outcome: BlockOutcome,
    closes_min: Ints,
    is_outage: bool,
    supply_flow_l_per_h: float,
    starts_min: Ints,
) -> None:
    """Sum up a block's pulses once they are fixed."""
    outcome.pulse_count = course.pulse_count
    outcome.planned_min = course.total_min
    outcome.wanted_min = course.wanted_min
    outcome.used_off_ratio = course.off_ratio
    early_min = 0
    for position in range(course.pulse_count):
        if starts_min[position] < block.sunrise_min:
            early_min += pulse_length_min(course.total_min, course.pulse_count, position)
    outcome.planned_net_mm = course.total_min * block.net_rate_mm_per_min
    outcome.early_net_mm = early_min * block.net_rate_mm_per_min
    outcome.day_net_mm = (course.total_min - early_min) * block.net_rate_mm_per_min
    outcome.alone_share = 1.0
    if course.wanted_min > 0:
        outcome.alone_share = course.alone_min / course.wanted_min
    outcome.event_peak_mm = event_peak(block, course.total_min, course.pulse_count, starts_min)
    if (
        block.flow_l_per_h > supply_flow_l_per_h
        and min(course.wanted_min, block.daily_maximum_min) >= block.shortest_pulse_min
    ):
        outcome.cause = CAUSE_SUPPLY
    else:
        outcome.cause = find_cause(block, course, closes_min, is_outage, course.total_min)


@compiled
def plan_day(
    days: Records,
    opens_min: Ints,
    closes_min: Ints,
    is_outage: NDArray[np.bool_],
    supply_flow_l_per_h: Floats,
    courses: Records,
    outcomes: Records,
) -> tuple[Ints, Ints, Ints]:
    """All blocks of all supplies: alone first, then supply by supply.

    Fills ``outcomes`` and returns offsets, starts and lengths of the pulses in order of blocks.
    """
    block_count = days.shape[0]
    supply_count = supply_flow_l_per_h.shape[0]
    no_starts = np.empty(0, np.int64)
    slot_offset = np.zeros(block_count + 1, np.int64)
    member_offset = np.zeros(supply_count + 1, np.int64)
    for block_index in range(block_count):
        block = days[block_index]
        course = courses[block_index]
        course.wanted_min = 0
        course.alone_min = 0
        course.alone_count = 0
        course.alone_off_ratio = block.off_ratio
        course.total_min = 0
        course.pulse_count = 0
        course.off_ratio = block.off_ratio
        if is_complete(block):
            course.wanted_min = whole_minutes(block.need_mm, block.net_rate_mm_per_min)
            allowed_min = min(course.wanted_min, block.daily_maximum_min)
            if (
                allowed_min >= block.shortest_pulse_min
                and block.flow_l_per_h <= supply_flow_l_per_h[block.supply_index]
            ):
                course.alone_min, course.alone_count, course.alone_off_ratio = plan_alone(
                    block,
                    opens_min[block_index],
                    closes_min[block_index],
                    allowed_min,
                    no_starts,
                )
        slot_offset[block_index + 1] = slot_offset[block_index] + (
            course.alone_min // max(1, block.shortest_pulse_min)
        )
        if course.alone_min > 0:
            member_offset[block.supply_index + 1] += 1

    # Blocks by supply, in the order of blocks (counting sort); idle blocks take no part.
    for supply in range(supply_count):
        member_offset[supply + 1] += member_offset[supply]
    members = np.empty(member_offset[supply_count], np.int64)
    filled = member_offset[:supply_count].copy()
    for block_index in range(block_count):
        if courses[block_index].alone_min > 0:
            supply = days[block_index].supply_index
            members[filled[supply]] = block_index
            filled[supply] += 1

    slot_start_min = np.empty(slot_offset[block_count], np.int64)
    urgent_share = np.ones(supply_count)
    rest_share = np.ones(supply_count)
    for supply in range(supply_count):
        urgent_share[supply], rest_share[supply] = share_supply(
            days,
            courses,
            opens_min,
            closes_min,
            members[member_offset[supply] : member_offset[supply + 1]],
            supply_flow_l_per_h[supply],
            slot_offset,
            slot_start_min,
        )

    offset = np.zeros(block_count + 1, np.int64)
    for block_index in range(block_count):
        offset[block_index + 1] = offset[block_index] + courses[block_index].pulse_count
    start_min = np.empty(offset[block_count], np.int64)
    duration_min = np.empty(offset[block_count], np.int64)
    for block_index in range(block_count):
        block = days[block_index]
        course = courses[block_index]
        outcome = outcomes[block_index]
        for position in range(course.pulse_count):
            place = offset[block_index] + position
            start_min[place] = slot_start_min[slot_offset[block_index] + position]
            duration_min[place] = pulse_length_min(course.total_min, course.pulse_count, position)
        outcome.urgent_share = urgent_share[block.supply_index]
        outcome.rest_share = rest_share[block.supply_index]
        report_outcome(
            block,
            course,
            outcome,
            closes_min[block_index],
            is_outage[block_index],
            supply_flow_l_per_h[block.supply_index],
            start_min[offset[block_index] : offset[block_index + 1]],
        )
        if not is_complete(block):
            outcome.planned_net_mm = np.nan
            outcome.early_net_mm = np.nan
            outcome.day_net_mm = np.nan
            outcome.alone_share = np.nan
            outcome.event_peak_mm = np.nan
    return offset, start_min, duration_min
