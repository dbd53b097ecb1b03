"""Compiled march of the members of a forecast through the coming days of the blocks of a supply.

In: blocks in the order of their supplies, the rule that each follows, and the weather of the
members at their sites. Out: the bands of minutes and depletion, and the chances of running short.
The public entrance is :mod:`service.agronomy.week_spread`, which says what is found and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.balance_kernel import day_step
from service.agronomy.records import Floats, Ints
from service.agronomy.weather_members import BAND_SHARES
from service.kernels import compiled
from service.unit_sizes import MINUTES_PER_HOUR

HALVINGS = 24
"""As many as the outlook takes to find the share of a supply."""
SHARE_TOLERANCE = 1e-6
"""Sums of weights are off by some rounding; a share is reached at a millionth below it."""


class MemberTerms(NamedTuple):
    """The weather of the members."""

    effective_mm: Floats
    """(places, members, days) rain that enters bare ground, by site and curve number."""
    et0_mm: Floats
    """(sites, members, days)"""
    weights: Floats
    """(sites, members)"""


class BlockTerms(NamedTuple):
    """The blocks, arrays (blocks,)."""

    site_index: Ints
    place_index: Ints
    """Row of the block's site and curve number in the rain of the members."""
    entering_ratio: Floats
    """Share of that rain that enters the managed zone."""
    depletion_midnight_mm: Floats
    planned_net_mm: Floats
    early_share: Floats
    net_rate_mm_per_min: Floats
    trigger_fraction: Floats
    rain_room_fraction: Floats
    flow_l_per_h: Floats
    priority: Ints


class DayTerms(NamedTuple):
    """The days, arrays (days, blocks)."""

    zone_coefficient: Floats
    """Kc times the zone's share of the use."""
    taw_mm: Floats
    raw_mm: Floats
    is_dormant: Floats
    """1 on days of dormancy, else 0."""
    capacity_min: Floats
    fixed_min: Floats
    """NaN where the need decides."""


class Bands(NamedTuple):
    """What is found."""

    band_min: Floats
    """(shares, days, blocks)"""
    band_depletion_mm: Floats
    """(shares, days, blocks)"""
    short_fraction: Floats
    """(2, blocks) on the first day, and on any of the days looked at."""


@compiled
def share_minutes(
    wanted_min: Floats,
    capacity_min: Floats,
    flow_l_per_h: Floats,
    priority: Ints,
    carried_l: float,
    minutes: Floats,
) -> None:
    """Minutes of the blocks of one supply, as ``outlook.share_supplies`` finds them."""
    rank = priority.min()
    last = priority.max()
    while True:
        asked_l = 0.0
        for row in range(wanted_min.size):
            if priority[row] == rank and not np.isnan(wanted_min[row]):
                minutes[row] = min(wanted_min[row], capacity_min[row])
                asked_l += minutes[row] * flow_l_per_h[row] / MINUTES_PER_HOUR
        if asked_l > carried_l:
            low, high = 0.0, 1.0
            for _ in range(HALVINGS):
                middle = (low + high) / 2.0
                volume_l = 0.0
                for row in range(wanted_min.size):
                    if priority[row] == rank and not np.isnan(wanted_min[row]):
                        alone_min = min(middle * wanted_min[row], capacity_min[row])
                        volume_l += alone_min * flow_l_per_h[row] / MINUTES_PER_HOUR
                if volume_l <= carried_l:
                    low = middle
                else:
                    high = middle
            asked_l = 0.0
            for row in range(wanted_min.size):
                if priority[row] == rank and not np.isnan(wanted_min[row]):
                    minutes[row] = min(low * wanted_min[row], capacity_min[row])
                    asked_l += minutes[row] * flow_l_per_h[row] / MINUTES_PER_HOUR
        carried_l = max(0.0, carried_l - asked_l)
        if rank == last:
            return
        following = last
        for row in range(priority.size):
            if rank < priority[row] < following:
                following = priority[row]
        rank = following


@compiled
def quantiles(values: Floats, weights: Floats, order: Ints, found: Floats) -> None:
    """The least values that the band's shares of the weight do not exceed, into ``found``."""
    count, total = 0, 0.0
    for member in range(values.size):
        if weights[member] <= 0.0:
            continue
        if np.isnan(values[member]):  # courses of a site end together
            return
        place = count
        while place > 0 and values[order[place - 1]] > values[member]:
            order[place] = order[place - 1]
            place -= 1
        order[place] = member
        count += 1
        total += weights[member]
    reached, place = 0.0, -1
    for row in range(found.size):
        wanted = (BAND_SHARES[row] - SHARE_TOLERANCE) * total
        while place < 0 or (reached < wanted and place < count - 1):
            place += 1
            reached += weights[order[place]]
        found[row] = values[order[place]]


class Marching(NamedTuple):
    """The blocks of one supply in one member, arrays (blocks,), and what was found so far."""

    left_mm: Floats
    """Depletion at the end of the day reached."""
    dry_mm: Floats
    """The same without water."""
    has_passed: Floats
    """1 once that has passed RAW, else 0."""
    wanted_min: Floats
    """NaN where the member is not there or its course has ended."""
    given_min: Floats
    minutes: Floats
    """(blocks, days, members)"""
    level_mm: Floats
    """(blocks, days, members)"""


@compiled
def entering_of(
    block: int, member: int, day: int, blocks: BlockTerms, members: MemberTerms
) -> float:
    """Rain of a day that enters the zone of a block."""
    effective_mm: float = members.effective_mm[blocks.place_index[block], member, day]
    ratio: float = blocks.entering_ratio[block]
    return effective_mm * ratio


@compiled
def use_of(
    block: int, member: int, day: int, days: DayTerms, et0_mm: Floats, site_index: Ints
) -> float:
    """What the crop of a block asks of its zone on a day."""
    coefficient: float = days.zone_coefficient[day, block]
    own_et0_mm: float = et0_mm[site_index[block], member, day]
    return coefficient * own_et0_mm


@compiled
def ask(
    first: int,
    member: int,
    day: int,
    blocks: BlockTerms,
    days: DayTerms,
    members: MemberTerms,
    now: Marching,
) -> float:
    """What the blocks of a supply want on a day, and its volume if each gets what it alone could.

    The first day's is planned already.
    """
    asked_l = 0.0
    for row in range(now.left_mm.size):
        block = first + row
        now.wanted_min[row] = now.given_min[row] = np.nan
        use_mm = use_of(block, member, day, days, members.et0_mm, blocks.site_index)
        after_rain_mm = now.left_mm[row] - entering_of(block, member, day, blocks, members)
        expected_mm = max(0.0, after_rain_mm) + use_mm
        if np.isnan(after_rain_mm) or np.isnan(use_mm):
            now.left_mm[row] = np.nan
            continue
        raw_mm, rate = days.raw_mm[day, block], blocks.net_rate_mm_per_min[block]
        is_awake = days.is_dormant[day, block] == 0.0
        now.wanted_min[row] = 0.0
        if day == 0:
            now.wanted_min[row] = blocks.planned_net_mm[block] / rate
        elif is_awake and expected_mm >= blocks.trigger_fraction[block] * raw_mm:
            room_mm = blocks.rain_room_fraction[block] * raw_mm
            now.wanted_min[row] = max(0.0, expected_mm - room_mm) / rate
        now.given_min[row] = now.wanted_min[row]
        if day > 0:
            now.given_min[row] = min(now.wanted_min[row], days.capacity_min[day, block])
        asked_l += now.given_min[row] * blocks.flow_l_per_h[block] / MINUTES_PER_HOUR
    return asked_l


@compiled
def book(
    first: int,
    member: int,
    day: int,
    blocks: BlockTerms,
    days: DayTerms,
    members: MemberTerms,
    now: Marching,
) -> None:
    """One day of the blocks of a supply with the water that they get, and without any."""
    nothing = np.empty(0)
    for row in range(now.left_mm.size):
        block = first + row
        if np.isnan(now.given_min[row]):
            continue
        if day > 0 and not np.isnan(days.fixed_min[day, block]):
            now.given_min[row] = days.fixed_min[day, block]
        use_mm = use_of(block, member, day, days, members.et0_mm, blocks.site_index)
        entering_mm = entering_of(block, member, day, blocks, members)
        raw_mm, taw_mm = days.raw_mm[day, block], days.taw_mm[day, block]
        net_mm = now.given_min[row] * blocks.net_rate_mm_per_min[block]
        room_mm = max(0.0, now.left_mm[row] - entering_mm)
        early_mm = min(net_mm * blocks.early_share[block], room_mm)
        now.left_mm[row] = day_step(
            now.left_mm[row], taw_mm, raw_mm, entering_mm, use_mm, early_mm, net_mm - early_mm,
            nothing, nothing, (0, 0),
        ).depletion_end_mm  # fmt: skip
        now.minutes[row, day, member] = now.given_min[row]
        now.level_mm[row, day, member] = now.left_mm[row]
        now.dry_mm[row] = max(0.0, now.dry_mm[row] - entering_mm) + use_mm
        if now.dry_mm[row] > raw_mm and days.is_dormant[day, block] == 0.0:
            now.has_passed[row] = 1.0


@compiled
def find_bands(first: int, site_index: Ints, weights: Floats, now: Marching, bands: Bands) -> None:
    """The quantiles of every block and day of a supply."""
    order = np.empty(weights.shape[1], np.int64)
    for row in range(now.left_mm.size):
        block = first + row
        own = weights[site_index[block]]
        for day in range(now.minutes.shape[1]):
            quantiles(now.minutes[row, day], own, order, bands.band_min[:, day, block])
            quantiles(now.level_mm[row, day], own, order, bands.band_depletion_mm[:, day, block])


@compiled
def march_supplies(
    bounds: Ints,
    blocks: BlockTerms,
    days: DayTerms,
    members: MemberTerms,
    carried_l: Floats,
    horizon_days: int,
    bands: Bands,
) -> None:
    """All blocks, supply by supply; ``bounds`` (supplies + 1,), ``carried_l`` (days, supplies)."""
    day_count, member_count = carried_l.shape[0], members.weights.shape[1]
    for supply in range(bounds.size - 1):
        first, size = bounds[supply], bounds[supply + 1] - bounds[supply]
        now = Marching(
            np.empty(size), np.empty(size), np.empty(size), np.empty(size), np.empty(size),
            np.full((size, day_count, member_count), np.nan),
            np.full((size, day_count, member_count), np.nan),
        )  # fmt: skip
        own = slice(first, first + size)
        bands.short_fraction[:, own] = 0.0
        for member in range(member_count):
            now.has_passed[:] = 0.0
            for row in range(size):
                now.left_mm[row] = now.dry_mm[row] = blocks.depletion_midnight_mm[first + row]
            for day in range(day_count):
                asked_l = ask(first, member, day, blocks, days, members, now)
                if day > 0 and asked_l > carried_l[day, supply]:
                    share_minutes(
                        now.wanted_min, days.capacity_min[day, own], blocks.flow_l_per_h[own],
                        blocks.priority[own], carried_l[day, supply], now.given_min,
                    )  # fmt: skip
                book(first, member, day, blocks, days, members, now)
                if day in (0, horizon_days - 1):
                    for row in range(size):
                        weight = members.weights[blocks.site_index[first + row], member]
                        share = weight * now.has_passed[row]
                        bands.short_fraction[min(day, 1), first + row] += share
        find_bands(first, blocks.site_index, members.weights, now, bands)
