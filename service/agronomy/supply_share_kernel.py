"""Compiled sharing of a supply among its blocks: max-min fair, tier by tier.

In: what each block of one supply asks and could have alone. Out: its minutes, its pulses, and the
share of its urgent and of its other need that it reached. A tier is the urgent need of one rank of
blocks, then the rest of their need; the next rank gets what is free beside them. Within a tier all
blocks rise together; those that are stuck stay and the others go on ("progressive filling" of
max-min fairness, from memory).
"""

from __future__ import annotations

import numpy as np

from service.agronomy.finish_search_kernel import finish_sooner
from service.agronomy.flow_profile_kernel import FINEST_STEP, add_flow, has_gap
from service.agronomy.gap_filling_kernel import add_pulses, fill_gaps
from service.agronomy.levelling_kernel import level_shares
from service.agronomy.list_schedule_kernel import LONGEST_FIRST, SharedSupply
from service.agronomy.pulse_kernel import lay_pulses
from service.agronomy.records import Floats
from service.agronomy.share_trial_kernel import (
    have_equal_windows,
    horizon_min,
    largest_share,
    try_share,
)
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import compiled

# The depths that a tier may add to what a block has.
WHOLE_NEED = 0
URGENT_NEED = 1
OTHER_NEED = 2
LEVELLINGS = 8  # how often shares are levelled, as long as that opens gaps for more pulses
REPLANS = 3  # how often those that can have more are planned again together, where hours differ


@compiled
def lay_all(supply: SharedSupply) -> None:
    """Lay every block as if it were alone: the supply carries all at once."""
    for block_index in supply.members:
        course = supply.courses[block_index]
        course.total_min = course.alone_min
        course.pulse_count = course.alone_count
        course.off_ratio = course.alone_off_ratio
        course.urgent_share = 1.0
        course.rest_share = 1.0
        lay_pulses(
            supply.days[block_index],
            supply.opens_min[block_index],
            supply.closes_min[block_index],
            course.total_min,
            course.pulse_count,
            course.off_ratio,
            supply.starts_min[
                supply.slot_offset[block_index] : supply.slot_offset[block_index + 1]
            ],
        )


@compiled
def free_flow(supply: SharedSupply) -> Floats:
    """The flow that the pulses of all blocks leave free, minute by minute."""
    free_l_per_h = np.full(horizon_min(supply), supply.flow_l_per_h)
    for block_index in supply.members:
        add_flow(
            free_l_per_h,
            supply.days[block_index],
            supply.courses[block_index],
            supply.starts_min[
                supply.slot_offset[block_index] : supply.slot_offset[block_index + 1]
            ],
            -1.0,
        )
    return free_l_per_h


@compiled
def open_tier(supply: SharedSupply, rank: int, part: int) -> int:
    """Let the blocks of a rank rise in a part of their need; returns how many do."""
    rising_count = 0
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        course.is_rising = 0
        course.tier_mm = 0.0
        course.tier_share = 0.0
        depth_mm = block.need_mm
        if part == URGENT_NEED:
            depth_mm = block.urgent_need_mm
        elif part == OTHER_NEED:
            depth_mm = block.need_mm - block.urgent_need_mm
        if block.priority == rank and depth_mm > 0.0:
            course.is_rising = 1
            course.tier_mm = depth_mm
            rising_count += 1
    return rising_count


@compiled
def close_tier(supply: SharedSupply) -> None:
    """Fix what the blocks of a tier have reached."""
    for block_index in supply.members:
        course = supply.courses[block_index]
        course.granted_mm += course.tier_share * course.tier_mm
        course.tier_mm = 0.0
        course.tier_share = 0.0
        course.is_rising = 0


@compiled
def note_shares(supply: SharedSupply) -> None:
    """What the supply let every block have of its urgent and of its other need.

    A block that got all that it could have alone was not limited by the supply.
    """
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        course.urgent_share = 1.0
        course.rest_share = 1.0
        if course.total_min == course.alone_min:
            continue
        planned_mm = course.total_min * block.net_rate_mm_per_min
        if block.urgent_need_mm > 0.0:
            course.urgent_share = min(1.0, planned_mm / block.urgent_need_mm)
        other_mm = block.need_mm - block.urgent_need_mm
        if other_mm > 0.0:
            share = (planned_mm - block.urgent_need_mm) / other_mm
            course.rest_share = min(1.0, max(0.0, share))


@compiled
def next_rank(supply: SharedSupply, after: int) -> int:
    """The next rank of any block, or ``NEVER_MIN``."""
    rank = NEVER_MIN
    for block_index in supply.members:
        if after < supply.days[block_index].priority < rank:
            rank = supply.days[block_index].priority
    return rank


@compiled
def fix_the_stuck(supply: SharedSupply, free_l_per_h: Floats) -> tuple[int, int]:
    """Stop the rise of blocks without a gap for a little more; returns how many stop and go on."""
    stuck_count = 0
    rising_count = 0
    for block_index in supply.members:
        course = supply.courses[block_index]
        if not course.is_rising or course.total_min >= course.alone_min:
            continue
        begin, end = supply.slot_offset[block_index], supply.slot_offset[block_index + 1]
        if has_gap(
            supply.days[block_index],
            course,
            supply.opens_min[block_index],
            supply.closes_min[block_index],
            free_l_per_h,
            supply.starts_min[begin:end],
        ):
            rising_count += 1
        else:
            course.is_rising = 0
            stuck_count += 1
    return stuck_count, rising_count


@compiled
def replay(supply: SharedSupply, share: float, rule: int) -> Floats:
    """Plan once more the best trial, which need not have been the last; returns the free flow."""
    try_share(supply, share, rule)
    for block_index in supply.members:
        course = supply.courses[block_index]
        if course.is_rising:
            course.tier_share = 1.0 if course.total_min == course.alone_min else share
    return free_flow(supply)


@compiled
def fill_tier(supply: SharedSupply, rule: int) -> Floats:
    """Share a tier that does not fit whole; returns the flow that stays free.

    All rise to the largest common share. Those that then have no gap for more stay, and the others
    are planned again together, as long as that brings them on; what is free at last goes to all in
    equal steps, each until it is stuck.
    """
    share = 0.0
    turn_count = 1 if have_equal_windows(supply) else REPLANS
    for turn in range(turn_count):
        before = share
        share, rule = largest_share(supply, share, rule)
        free_l_per_h = replay(supply, share, rule)
        if turn + 1 == turn_count or (turn > 0 and share - before < FINEST_STEP):
            break
        stuck_count, rising_count = fix_the_stuck(supply, free_l_per_h)
        if stuck_count == 0 or rising_count == 0:
            break
    for block_index in supply.members:
        if supply.courses[block_index].tier_mm > 0.0:
            supply.courses[block_index].is_rising = 1
    fill_gaps(supply, free_l_per_h)
    return free_l_per_h


@compiled
def up_to_rank(supply: SharedSupply, rank: int) -> SharedSupply:
    """The supply with those of its blocks alone that are of a rank, or served before it."""
    members = np.empty_like(supply.members)
    count = 0
    for block_index in supply.members:
        if supply.days[block_index].priority <= rank:
            members[count] = block_index
            count += 1
    return SharedSupply(
        supply.days,
        supply.courses,
        supply.opens_min,
        supply.closes_min,
        members[:count],
        supply.flow_l_per_h,
        supply.slot_offset,
        supply.starts_min,
    )


@compiled
def lengthen(free_l_per_h: Floats, supply: SharedSupply) -> Floats:
    """Free flow up to the last minute of all blocks, also those of ranks not served yet."""
    whole_l_per_h = np.full(max(free_l_per_h.shape[0], horizon_min(supply)), supply.flow_l_per_h)
    whole_l_per_h[: free_l_per_h.shape[0]] = free_l_per_h
    return whole_l_per_h


@compiled
def fits_whole(supply: SharedSupply, rank: int, part: int, rule: int) -> int:
    """The rule of order with which a tier fits whole beside what was granted, or -1."""
    if open_tier(supply, rank, part) == 0:
        return rule
    found_rule = try_share(supply, 1.0, rule)
    if found_rule >= 0:
        for block_index in supply.members:
            supply.courses[block_index].tier_share = 1.0
        close_tier(supply)
    return int(found_rule)


@compiled
def share_rank(
    supply: SharedSupply, so_far: SharedSupply, rank: int, rule: int, free_l_per_h: Floats
) -> tuple[int, Floats]:
    """Share among the blocks of a rank what those before it leave: urgent needs, then the rest.

    ``free_l_per_h`` is empty as long as all pulses can still be planned again. Returns the rule of
    order that fitted last, and the flow that stays free once a tier did not fit whole.
    """
    for part in (URGENT_NEED, OTHER_NEED):
        if free_l_per_h.shape[0] > 0:
            if open_tier(so_far, rank, part) > 0:
                fill_gaps(so_far, free_l_per_h)
                close_tier(so_far)
            continue
        found_rule = fits_whole(so_far, rank, part, rule)
        if found_rule >= 0:
            rule = found_rule
        else:
            free_l_per_h = lengthen(fill_tier(so_far, rule), supply)
            close_tier(so_far)
    return rule, free_l_per_h


@compiled
def share_tiers(supply: SharedSupply) -> None:
    """Share a supply that cannot meet all needs, tier by tier.

    The first tier that does not fit whole settles the pulses; the tiers after it get what is free.
    """
    for block_index in supply.members:
        course = supply.courses[block_index]
        course.granted_mm = 0.0
        course.total_min = 0
        course.pulse_count = 0
        course.off_ratio = supply.days[block_index].off_ratio
    free_l_per_h = np.empty(0)
    rule = LONGEST_FIRST
    rank = next_rank(supply, -1)
    has_ranks = next_rank(supply, rank) != NEVER_MIN
    while rank != NEVER_MIN:
        so_far = up_to_rank(supply, rank)
        found_rule = -1
        if has_ranks and free_l_per_h.shape[0] == 0:  # with one rank all were tried whole before
            found_rule = fits_whole(so_far, rank, WHOLE_NEED, rule)
        if found_rule >= 0:
            rule = found_rule
        else:
            rule, free_l_per_h = share_rank(supply, so_far, rank, rule, free_l_per_h)
        if free_l_per_h.shape[0] > 0:
            add_pulses(so_far, free_l_per_h)
            for _ in range(LEVELLINGS):
                level_shares(so_far, rank)
                free_l_per_h = lengthen(free_flow(so_far), supply)
                if not add_pulses(so_far, free_l_per_h):
                    break
        rank = next_rank(supply, rank)
    if free_l_per_h.shape[0] == 0:
        add_pulses(supply, free_flow(supply))
    note_shares(supply)


@compiled
def share_supply(supply: SharedSupply) -> None:
    """Give the blocks of a supply their pulses and shares; writes them to ``courses``."""
    flow_l_per_h = 0.0
    for block_index in supply.members:
        flow_l_per_h += supply.days[block_index].flow_l_per_h
    if flow_l_per_h <= supply.flow_l_per_h:
        lay_all(supply)
        return
    for block_index in supply.members:
        course = supply.courses[block_index]
        course.is_rising = 0
        course.tier_mm = 0.0
        course.tier_share = 0.0
        course.granted_mm = supply.days[block_index].need_mm
        course.urgent_share = 1.0
        course.rest_share = 1.0
    rule = try_share(supply, 1.0, LONGEST_FIRST)
    if rule < 0:
        share_tiers(supply)
    else:
        finish_sooner(supply)
