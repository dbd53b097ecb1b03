"""Compiled arithmetic of the blocks that share a supply.

The step after a block's own pulses: what each could have alone, then supply by supply who runs
when, and what was cut. In: records of blocks, their windows, the flow of the supplies. Out: starts
of pulses, shares and sums. The rules are those of :mod:`service.agronomy.supply`, which is the
public entrance to this file.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from service.agronomy.list_schedule_kernel import BlockCourse, SharedSupply
from service.agronomy.pulse_kernel import (
    BlockDay,
    divisible_minutes,
    event_peak,
    is_complete,
    lay_pulses,
    plan_alone,
    pulse_length_min,
    whole_minutes,
)
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import Floats, Ints
from service.agronomy.supply_share_kernel import share_supply
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import Records, compiled, record_layout
from service.unit_sizes import MINUTES_PER_DAY

CAUSE_NONE = int(ShortfallCause.NONE)
CAUSE_SOIL_STORE = int(ShortfallCause.SOIL_STORE)
CAUSE_WINDOWS = int(ShortfallCause.WINDOWS)
CAUSE_SUPPLY = int(ShortfallCause.SUPPLY)
CAUSE_DAILY_MAXIMUM = int(ShortfallCause.DAILY_MAXIMUM)
CAUSE_MINIMUM_PULSE = int(ShortfallCause.MINIMUM_PULSE)
CAUSE_OUTAGE = int(ShortfallCause.OUTAGE)


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


BLOCK_OUTCOME = record_layout(BlockOutcome)


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
        own_within_min = block.start_within_min
        block.start_within_min = NEVER_MIN
        open_total_min, _, _ = plan_alone(block, open_min, close_min, whole_min, starts_min)
        fewest = -(-whole_min // block.longest_pulse_min)
        _, _, is_room_bound = lay_pulses(
            block, open_min, close_min, whole_min, fewest, block.off_ratio, starts_min
        )
        block.start_within_min = own_within_min
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
def find_cap(
    block: BlockDay,
    course: BlockCourse,
    opens_min: Ints,
    closes_min: Ints,
    supply_flow_l_per_h: float,
) -> None:
    """What a block asks for, and what it could have if it were alone on its supply."""
    course.wanted_min = 0
    course.alone_min = 0
    course.alone_count = 0
    course.alone_off_ratio = block.off_ratio
    course.total_min = 0
    course.pulse_count = 0
    course.off_ratio = block.off_ratio
    course.urgent_share = 1.0
    course.rest_share = 1.0
    if not is_complete(block):
        return
    course.wanted_min = whole_minutes(block.need_mm, block.net_rate_mm_per_min)
    allowed_min = min(course.wanted_min, block.daily_maximum_min)
    if allowed_min >= block.shortest_pulse_min and block.flow_l_per_h <= supply_flow_l_per_h:
        course.alone_min, course.alone_count, course.alone_off_ratio = plan_alone(
            block, opens_min, closes_min, allowed_min, np.empty(0, np.int64)
        )


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
    slot_offset = np.zeros(block_count + 1, np.int64)
    member_offset = np.zeros(supply_count + 1, np.int64)
    for block_index in range(block_count):
        block = days[block_index]
        course = courses[block_index]
        find_cap(
            block,
            course,
            opens_min[block_index],
            closes_min[block_index],
            supply_flow_l_per_h[block.supply_index],
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
    for supply in range(supply_count):
        share_supply(
            SharedSupply(
                days,
                courses,
                opens_min,
                closes_min,
                members[member_offset[supply] : member_offset[supply + 1]],
                supply_flow_l_per_h[supply],
                slot_offset,
                slot_start_min,
            )
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
        outcome.urgent_share = course.urgent_share
        outcome.rest_share = course.rest_share
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
