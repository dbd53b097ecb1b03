"""Compiled levelling of shares: a block far below others of its rank gets some of their minutes.

In: the blocks of one short supply with their pulses. Out: minutes and starts with which the shares
of a rank lie closer together, where the pulses find a place. The pulses are put again in the order
of their starts, so that a minute that one gives up anywhere is free for any of them. Max-min
fairness by exchange; the steps and their count are choices of this service.
"""

from __future__ import annotations

import math

import numpy as np

from service.agronomy.list_schedule_kernel import BlockCourse, SharedSupply
from service.agronomy.pulse_kernel import BlockDay
from service.agronomy.records import Ints
from service.agronomy.serial_schedule_kernel import (
    in_order_of_start,
    place_in_order,
    write_starts,
)
from service.agronomy.share_trial_kernel import open_volume
from service.agronomy.tier_minutes_kernel import (
    minutes_of,
    next_total,
    share_of,
    whole_need_min,
)
from service.agronomy.window_kernel import NEVER_MIN
from service.kernels import Records, compiled

EVEN_SHARE = 0.01  # shares that lie this close together are left alone
HALVINGS = 12  # of the range in which the share lies that donors come down to
DOUBLINGS = 5  # of what donors give for one step, before they give all they can
MOST_PLACEMENTS = 50000  # of pulses, in all trials


@compiled
def set_minutes(supply: SharedSupply, block_index: int, total_min: int) -> bool:
    """Give a block minutes in about as many pulses as it has; False if it may not have so many."""
    block = supply.days[block_index]
    course = supply.courses[block_index]
    begin, end = supply.slot_offset[block_index], supply.slot_offset[block_index + 1]
    count = max(course.pulse_count, -(-total_min // block.longest_pulse_min))
    count = min(count, total_min // block.shortest_pulse_min)
    if count > min(end - begin, block.most_pulse_count):
        return False
    for position in range(course.pulse_count, count):
        supply.starts_min[begin + position] = NEVER_MIN
    course.total_min = total_min
    course.pulse_count = count
    return True


@compiled
def place_again(supply: SharedSupply, is_kept: bool) -> tuple[bool, int]:
    """Put all pulses again in their order, and keep their starts if all fit and they are to.

    Returns whether all have a place, and how many were tried.
    """
    pulse_count = 0
    for block_index in supply.members:
        pulse_count += supply.courses[block_index].pulse_count
    owner, start_min = in_order_of_start(supply, pulse_count)
    end_min, tried_count = place_in_order(supply, owner, NEVER_MIN, start_min)
    if end_min == NEVER_MIN:
        return False, tried_count
    if is_kept:
        write_starts(supply, owner, start_min)
    return True, tried_count


@compiled
def find_lowest(supply: SharedSupply, rank: int, is_stuck: Ints) -> tuple[int, float]:
    """Place of the block with the least share of a rank that may rise, or -1; the largest share."""
    lowest = -1
    least = np.inf
    most = 0.0
    for place, block_index in enumerate(supply.members):
        block = supply.days[block_index]
        course = supply.courses[block_index]
        if block.priority != rank:
            continue
        share = share_of(block, course.total_min)
        most = max(most, share)
        if is_stuck[place] or course.total_min >= course.alone_min:
            continue
        if share < least or (
            share == least and block.flow_l_per_h > supply.days[supply.members[lowest]].flow_l_per_h
        ):
            lowest = place
            least = share
    return lowest, most


@compiled
def by_share_falling(supply: SharedSupply, rank: int, above: float) -> Ints:
    """Blocks of a rank above a share, the largest first; of equal ones that of less flow."""
    donors = np.empty_like(supply.members)
    shares = np.empty(donors.shape[0])
    count = 0
    for block_index in supply.members:
        block = supply.days[block_index]
        share = share_of(block, supply.courses[block_index].total_min)
        if block.priority != rank or share <= above:
            continue
        place = count
        while place > 0 and (
            shares[place - 1] < share
            or (
                shares[place - 1] == share
                and supply.days[donors[place - 1]].flow_l_per_h > block.flow_l_per_h
            )
        ):
            donors[place] = donors[place - 1]
            shares[place] = shares[place - 1]
            place -= 1
        donors[place] = block_index
        shares[place] = share
        count += 1
    return donors[:count]


@compiled
def total_at(block: BlockDay, course: BlockCourse, share: float) -> int:
    """The least whole pulses that reach a share, of no more than the block has."""
    total_min = next_total(block, course, minutes_of(block, share))
    while total_min < course.total_min and share_of(block, total_min) < share:
        total_min = next_total(block, course, total_min + 1)
    return min(total_min, course.total_min)


@compiled
def lower_to(supply: SharedSupply, donors: Ints, share: float) -> None:
    """Leave donors no more than the least whole pulses that reach a share."""
    for donor in donors:
        total_min = total_at(supply.days[donor], supply.courses[donor], share)
        set_minutes(supply, donor, total_min)


@compiled
def give_up(
    supply: SharedSupply, low: int, donors: Ints, wanted_min: int, least_share: float
) -> bool:
    """Take from donors, down to one share of all, what a block needs for more minutes.

    A donor's minute makes room for a whole one of the block where the two cannot run together, else
    for its part of the flow. Returns whether they had that much above the least share.
    """
    low_l_per_h = supply.days[low].flow_l_per_h
    level = least_share
    fails = share_of(supply.days[donors[0]], supply.courses[donors[0]].total_min)
    for turn in range(HALVINGS + 1):
        share = (level + fails) / 2.0 if turn > 0 else least_share
        given_min = 0.0
        for donor in donors:
            block = supply.days[donor]
            course = supply.courses[donor]
            minutes = course.total_min - total_at(block, course, share)
            if block.flow_l_per_h + low_l_per_h <= supply.flow_l_per_h and donors.shape[0] > 1:
                given_min += minutes * block.flow_l_per_h / low_l_per_h
            else:
                given_min += minutes
        if given_min >= wanted_min:
            level = share
        elif turn == 0:
            return False
        else:
            fails = share
    lower_to(supply, donors, level)
    return True


@compiled
def meeting_minutes(supply: SharedSupply, low: int, donor: int) -> int:
    """Minutes with which a block would come up to a donor's share as that comes down."""
    block, donor_block = supply.days[low], supply.days[donor]
    share = share_of(block, supply.courses[low].total_min)
    donor_share = share_of(donor_block, supply.courses[donor].total_min)
    inverse = 1.0 / whole_need_min(block, share) + 1.0 / whole_need_min(donor_block, donor_share)
    return max(1, int((donor_share - share) / inverse))


@compiled
def try_totals(
    supply: SharedSupply, kept: Records, volume: float, is_kept: bool
) -> tuple[bool, int]:
    """Whether all pulses fit with the blocks' new minutes, and how many were tried.

    Puts back what the blocks had before if they do not fit, or if it was only to be known.
    """
    asked = 0.0
    for block_index in supply.members:
        asked += supply.days[block_index].flow_l_per_h * supply.courses[block_index].total_min
    fits = False
    tried_count = 0
    if asked <= volume:
        fits, tried_count = place_again(supply, is_kept)
    if not (fits and is_kept):
        for place, block_index in enumerate(supply.members):
            supply.courses[block_index].total_min = kept[place].total_min
            supply.courses[block_index].pulse_count = kept[place].pulse_count
    return fits, tried_count


@compiled
def could_rise(
    supply: SharedSupply, low: int, donors: Ints, volume: float, is_kept: bool
) -> tuple[bool, int]:
    """Whether a block could have the least more if donors came down to where it is."""
    block = supply.days[low]
    course = supply.courses[low]
    kept = supply.courses[supply.members].copy()
    share = math.nextafter(share_of(block, course.total_min), np.inf)
    if not set_minutes(supply, low, next_total(block, course, course.total_min + 1)):
        return False, 0
    lower_to(supply, donors, share)
    return try_totals(supply, kept, volume, is_kept)


@compiled
def find_donors(supply: SharedSupply, low: int, donors: Ints, volume: float) -> tuple[Ints, int]:
    """Few of the donors that make room for a block together, and the pulses tried."""
    tried_count = 0
    while donors.shape[0] > 1:
        half = donors.shape[0] // 2
        suffices, count = could_rise(supply, low, donors[:half], volume, False)
        tried_count += count
        if suffices:
            donors = donors[:half]
            continue
        suffices, count = could_rise(supply, low, donors[half:], volume, False)
        tried_count += count
        if not suffices:
            break
        donors = donors[half:]
    return donors, tried_count


@compiled
def exchange(
    supply: SharedSupply, low: int, added_min: int, donors: Ints, gift_factor: int, volume: float
) -> tuple[bool, int]:
    """Raise a block by minutes for which donors, if there are any, give up some times as many.

    Returns whether all pulses fit, and how many were tried. Who gives stays above the block.
    """
    block = supply.days[low]
    course = supply.courses[low]
    before_min, before_count = course.total_min, course.pulse_count
    total_min = next_total(block, course, before_min + added_min)
    kept = supply.courses[supply.members].copy()
    if not set_minutes(supply, low, total_min):
        return False, 0
    floor_share = share_of(block, total_min)
    if added_min == 1:
        floor_share = math.nextafter(share_of(block, before_min), np.inf)
    wanted_min = gift_factor * (total_min - before_min)
    if donors.shape[0] > 0 and not give_up(supply, low, donors, wanted_min, floor_share):
        course.total_min, course.pulse_count = before_min, before_count
        return False, 0
    return try_totals(supply, kept, volume, True)


@compiled
def merge_pulses(supply: SharedSupply, rank: int) -> int:
    """Let blocks have their minutes in fewer pulses where those fit; returns pulses tried."""
    tried_count = 0
    for block_index in supply.members:
        block = supply.days[block_index]
        course = supply.courses[block_index]
        pulse_count = course.pulse_count
        fewest = -(-course.total_min // block.longest_pulse_min)
        if block.priority != rank or pulse_count == fewest:
            continue
        course.pulse_count = fewest
        fits, count = place_again(supply, True)
        tried_count += count
        if not fits:
            course.pulse_count = pulse_count
    return tried_count


@compiled
def raise_by_gift(supply: SharedSupply, low: int, donors: Ints, volume: float) -> tuple[bool, int]:
    """Raise a block by what few others give; returns whether they can, and the pulses tried."""
    donors, tried_count = find_donors(supply, low, donors, volume)
    added_min = meeting_minutes(supply, low, donors[0])
    while added_min > 0:
        has_risen, count = exchange(supply, low, added_min, donors, 1, volume)
        tried_count += count
        if has_risen:
            return True, tried_count
        added_min //= 2
    for doubling in range(1, DOUBLINGS):
        has_risen, count = exchange(supply, low, 1, donors, 1 << doubling, volume)
        tried_count += count
        if has_risen:
            return True, tried_count
    has_risen, count = could_rise(supply, low, donors, volume, True)
    return has_risen, tried_count + count


@compiled
def raise_freely(supply: SharedSupply, low: int, volume: float, most: float) -> tuple[bool, int]:
    """Raise a block into what is free, in steps that double, half way up to a share at most."""
    block = supply.days[low]
    course = supply.courses[low]
    no_donors = supply.members[:0]
    share = share_of(block, course.total_min)
    most_min = course.total_min + (most - share) / 2.0 * whole_need_min(block, share)
    added_min = 1
    tried_count = 0
    while True:
        has_risen, count = exchange(supply, low, added_min, no_donors, 0, volume)
        tried_count += count
        if not has_risen:
            return added_min > 1, tried_count
        added_min *= 2
        if course.total_min == course.alone_min or course.total_min + added_min > most_min:
            return True, tried_count


@compiled
def raise_by_one(supply: SharedSupply, low: int, donors: Ints, volume: float) -> tuple[bool, int]:
    """Raise a block by the least that any single donor far above it gives, one after another.

    Less for many now and then delays a pulse that less for one does not.
    """
    share = share_of(supply.days[low], supply.courses[low].total_min)
    tried_count = 0
    for place, donor in enumerate(donors):
        if share_of(supply.days[donor], supply.courses[donor].total_min) - share <= EVEN_SHARE:
            break
        has_risen, count = exchange(supply, low, 1, donors[place : place + 1], 1, volume)
        tried_count += count
        if has_risen:
            return True, tried_count
    return False, tried_count


@compiled
def raise_block(
    supply: SharedSupply, rank: int, low: int, volume: float, most: float, is_last_turn: bool
) -> tuple[bool, int]:
    """Raise a block into what is free, or by what those far above it give; pulses tried."""
    share = share_of(supply.days[low], supply.courses[low].total_min)
    is_far_below = most - share > EVEN_SHARE
    donors = by_share_falling(supply, rank, share)
    tried_count = 0
    if is_far_below and not is_last_turn:
        is_possible, tried_count = could_rise(supply, low, donors, volume, False)
        if not is_possible:
            return False, tried_count
    has_risen, count = raise_freely(supply, low, volume, most)
    tried_count += count
    if not has_risen and is_far_below:
        if is_last_turn:
            has_risen, count = raise_by_one(supply, low, donors, volume)
        else:
            has_risen, count = raise_by_gift(supply, low, donors, volume)
        tried_count += count
    return has_risen, tried_count


@compiled
def level_shares(supply: SharedSupply, rank: int) -> None:
    """Bring the shares of a rank together as far as the pulses find a place.

    The lowest that is not stuck rises: into what is free, or by what those above it give.
    """
    is_stuck = np.zeros(supply.members.shape[0], np.int64)
    volume = open_volume(supply)
    tried_count = merge_pulses(supply, rank)
    has_changed = False
    is_last_turn = False
    while tried_count < MOST_PLACEMENTS:
        place, most = find_lowest(supply, rank, is_stuck)
        if place < 0:
            if is_last_turn and not has_changed:
                break
            is_last_turn = not is_last_turn
            is_stuck[:] = 0
            has_changed = False
            continue
        low = supply.members[place]
        has_risen, count = raise_block(supply, rank, low, volume, most, is_last_turn)
        tried_count += count
        is_stuck[place] = not has_risen
        has_changed = has_changed or has_risen
