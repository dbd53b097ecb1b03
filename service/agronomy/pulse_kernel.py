"""Compiled arithmetic of one block's pulses on one civil day.

The step between a block's need and its supply: when may a pulse start so that nothing drains, how
many pulses make up a total, and which total fits the block's day when it is alone on its supply.
In: one record per block (:class:`BlockDay`) and the rows of its windows. Out: minutes, pulses and
starts. Everything here is compiled, because a run calls it a hundred thousand times. The rules are
those of :mod:`service.agronomy.pulse_plan`, which is the public entrance to this file.
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from service.agronomy.records import Ints
from service.agronomy.stress_kernel import (
    depletion_after_et,
    depletion_with_inflow,
    et_share,
    et_until_depletion,
)
from service.agronomy.window_kernel import NEVER_MIN, window_start
from service.kernels import compiled, record_layout

ROOM_TOLERANCE_MM = 1e-9  # rounding of sums of depths; far below anything a meter can show
MINUTE_TOLERANCE_MIN = 1e-9  # a need of exactly 30 min must not be rounded down to 29
FLOW_TOLERANCE_L_PER_H = 1e-6  # rounding of sums of flows


class BlockDay(Protocol):
    """One row of the block records that the kernels read; see ``pulse_plan.PulseDemand``."""

    depletion_after_rain_mm: float
    crop_et_mm: float
    taw_mm: float
    raw_mm: float
    need_mm: float
    urgent_need_mm: float
    sunrise_min: float
    sunset_min: float
    net_rate_mm_per_min: float
    off_ratio: float
    flow_l_per_h: float
    event_limit_mm: float
    applied_early_net_mm: float
    applied_day_net_mm: float
    shortest_pulse_min: int
    longest_pulse_min: int
    daily_maximum_min: int
    valve_gap_min: int
    supply_index: int
    not_before_min: int
    priority: int
    most_pulse_count: int
    start_within_min: int


BLOCK_DAY = record_layout(BlockDay)


@compiled
def is_complete(block: BlockDay) -> bool:
    """Whether every number that the pulses depend on is known."""
    total = (
        block.depletion_after_rain_mm
        + block.crop_et_mm
        + block.taw_mm
        + block.raw_mm
        + block.need_mm
        + block.urgent_need_mm
        + block.sunrise_min
        + block.sunset_min
        + block.net_rate_mm_per_min
        + block.off_ratio
        + block.flow_l_per_h
        + block.applied_early_net_mm
        + block.applied_day_net_mm
    )
    return math.isfinite(total)


@compiled
def begin_depletion(block: BlockDay) -> tuple[float, float]:
    """Depletion after the water that was given already, and the share of the day's ET by then.

    Water of the day that was given before a re-plan enters evenly over the ET until new pulses may
    start [CHOICE]; what was given before sunrise, before all of it.
    """
    depletion_mm = block.depletion_after_rain_mm - block.applied_early_net_mm
    if block.applied_day_net_mm <= 0.0:
        return depletion_mm, 0.0
    share = et_share(float(block.not_before_min), block.sunrise_min, block.sunset_min)
    depletion_mm = depletion_with_inflow(
        depletion_mm,
        block.crop_et_mm * share,
        block.applied_day_net_mm,
        block.taw_mm,
        block.raw_mm,
    )
    return depletion_mm, share


@compiled
def depletion_at(
    block: BlockDay, depletion_mm: float, from_share: float, minute: float
) -> tuple[float, float]:
    """Depletion at a minute of the day when no water comes before it, and the share of ET by then.

    ``depletion_mm`` is that at ``from_share``, the share of the day's ET that had passed.
    """
    share = max(from_share, et_share(minute, block.sunrise_min, block.sunset_min))
    if share > from_share:
        et_mm = block.crop_et_mm * (share - from_share)
        depletion_mm = depletion_after_et(depletion_mm, et_mm, block.taw_mm, block.raw_mm)
    return depletion_mm, share


@compiled
def before_pulse(
    block: BlockDay, depletion_mm: float, from_share: float, minute: float
) -> tuple[float, float]:
    """The state to take a pulse's water from, as ``depletion_at``, without its cosine if it can.

    Where the rest of the day stays free of stress without that water too, ET is the same whenever
    the water comes: the earlier state does as well.
    """
    if depletion_mm + block.crop_et_mm * (1.0 - from_share) <= block.raw_mm:
        return depletion_mm, from_share
    return depletion_at(block, depletion_mm, from_share, minute)


@compiled
def room_minute(
    block: BlockDay, depletion_mm: float, from_share: float, pulse_net_mm: float
) -> int:
    """First minute at which the zone takes a pulse's net depth: room(t) solved for t.

    ``depletion_mm`` is that at ``from_share``, the share of the day's ET that had passed. 0 where
    there is room at once, ``NEVER_MIN`` where the day's ET does not make it.
    """
    wanted_mm = pulse_net_mm - ROOM_TOLERANCE_MM
    if wanted_mm <= depletion_mm:
        return 0
    et_mm = et_until_depletion(depletion_mm, wanted_mm, block.taw_mm, block.raw_mm)
    if et_mm > block.crop_et_mm * (1.0 - from_share):
        return NEVER_MIN
    if block.sunset_min <= block.sunrise_min:
        return math.ceil(block.sunrise_min)
    share = from_share + et_mm / block.crop_et_mm
    turned = math.acos(max(-1.0, 1.0 - 2.0 * share))
    exact_min = block.sunrise_min + (block.sunset_min - block.sunrise_min) * turned / math.pi
    return math.ceil(exact_min - MINUTE_TOLERANCE_MIN)


@compiled
def pulse_length_min(total_min: int, pulse_count: int, position: int) -> int:
    """Length of one of the pulses that share a total: at most a minute apart, longer first."""
    if position < total_min % pulse_count:
        return total_min // pulse_count + 1
    return total_min // pulse_count


@compiled
def off_time_min(duration_min: int, off_ratio: float, valve_gap_min: int) -> int:
    """Minutes that a block rests after a pulse; never less than its valve takes to close."""
    return max(math.ceil(off_ratio * duration_min - MINUTE_TOLERANCE_MIN), valve_gap_min)


@compiled
def chain_min(total_min: int, pulse_count: int, off_ratio: float, valve_gap_min: int) -> int:
    """Minutes from the first start to the last end when nothing but the off times delays."""
    chain = total_min
    for position in range(pulse_count - 1):
        length = pulse_length_min(total_min, pulse_count, position)
        chain += off_time_min(length, off_ratio, valve_gap_min)
    return chain


@compiled
def whole_minutes(depth_mm: float, net_rate_mm_per_min: float) -> int:
    """Whole minutes of running for a net depth, rounded down."""
    if not (net_rate_mm_per_min > 0.0 and depth_mm > 0.0):
        return 0
    return math.floor(depth_mm / net_rate_mm_per_min + MINUTE_TOLERANCE_MIN)


@compiled
def divisible_minutes(total_min: int, shortest_pulse_min: int, longest_pulse_min: int) -> int:
    """Largest total, not above the one given, that whole pulses of allowed length make up."""
    if total_min < shortest_pulse_min:
        return 0
    pulse_count = -(-total_min // longest_pulse_min)
    if pulse_count * shortest_pulse_min <= total_min:
        return total_min
    return (pulse_count - 1) * longest_pulse_min


@compiled
def lay_pulses(
    block: BlockDay,
    opens_min: Ints,
    closes_min: Ints,
    total_min: int,
    pulse_count: int,
    off_ratio: float,
    starts_min: Ints,
) -> tuple[int, int, bool]:
    """Put a block's pulses at their earliest, as if it were alone on its supply.

    ``starts_min`` receives the starts as far as it reaches. Returns the number of pulses that
    found a place, the end of the last one, and whether the room in the soil delayed any.
    """
    depletion_mm, share = begin_depletion(block)
    free_from_min = block.not_before_min
    end_min = 0
    is_room_bound = False
    for position in range(pulse_count):
        length_min = pulse_length_min(total_min, pulse_count, position)
        net_mm = length_min * block.net_rate_mm_per_min
        from_min = room_minute(block, depletion_mm, share, net_mm)
        if from_min > free_from_min:
            is_room_bound = True
        else:
            from_min = free_from_min
        if from_min == NEVER_MIN:
            return position, end_min, True
        start_min = window_start(
            opens_min, closes_min, from_min, length_min, block.start_within_min
        )
        if start_min == NEVER_MIN:
            return position, end_min, is_room_bound
        if position < starts_min.shape[0]:
            starts_min[position] = start_min
        depletion_mm, share = before_pulse(block, depletion_mm, share, float(start_min))
        depletion_mm -= net_mm
        end_min = start_min + length_min
        free_from_min = end_min + off_time_min(length_min, off_ratio, block.valve_gap_min)
    return pulse_count, end_min, is_room_bound


@compiled
def placed_minutes(total_min: int, pulse_count: int, placed_count: int) -> int:
    """Minutes in the first pulses of a total."""
    longer_count = min(placed_count, total_min % pulse_count)
    return placed_count * (total_min // pulse_count) + longer_count


@compiled
def largest_total(
    block: BlockDay,
    opens_min: Ints,
    closes_min: Ints,
    at_least_min: int,
    at_most_min: int,
    pulse_count: int,
    off_ratio: float,
    starts_min: Ints,
) -> int:
    """Largest total in a range that a given number of pulses can place; 0 if not even the least."""
    span_min = np.max(closes_min) - max(block.not_before_min, opens_min[0])
    if chain_min(at_least_min, pulse_count, off_ratio, block.valve_gap_min) > span_min:
        return 0
    placed, _, _ = lay_pulses(
        block, opens_min, closes_min, at_least_min, pulse_count, off_ratio, starts_min
    )
    if placed < pulse_count:
        return 0
    fits_min = at_least_min
    fails_min = at_most_min + 1
    while fails_min - fits_min > 1:
        middle_min = (fits_min + fails_min) // 2
        placed, _, _ = lay_pulses(
            block, opens_min, closes_min, middle_min, pulse_count, off_ratio, starts_min
        )
        if placed == pulse_count:
            fits_min = middle_min
        else:
            fails_min = middle_min
    return fits_min


@compiled
def plan_alone(
    block: BlockDay, opens_min: Ints, closes_min: Ints, total_min: int, starts_min: Ints
) -> tuple[int, int, float]:
    """The pulses that place most of a total when the block is alone on its supply.

    The first choice is the fewest pulses at the block's own off time. Where they do not fit: more
    and shorter pulses; then the same with off time once the pulse; then fewer minutes, in the
    number of pulses that loses least. Returns minutes, number of pulses and off ratio.
    """
    shortest_min = block.shortest_pulse_min
    longest_min = block.longest_pulse_min
    total_min = divisible_minutes(total_min, shortest_min, longest_min)
    if total_min == 0:
        return 0, 0, block.off_ratio
    fewest = -(-total_min // longest_min)
    placed, _, _ = lay_pulses(
        block, opens_min, closes_min, total_min, fewest, block.off_ratio, starts_min
    )
    if placed == fewest:
        return total_min, fewest, block.off_ratio

    best_min = placed_minutes(total_min, fewest, placed)
    best_count = placed
    best_off_ratio = block.off_ratio
    if best_min < shortest_min:
        best_min = 0
        best_count = 0
    most = min(total_min // shortest_min, block.most_pulse_count)
    off_ratio = block.off_ratio
    for _ in range(2):
        pulse_count = fewest
        while pulse_count <= most and best_min < total_min:
            # Whole first; then the most that this number of pulses can place.
            placed, _, _ = lay_pulses(
                block, opens_min, closes_min, total_min, pulse_count, off_ratio, starts_min
            )
            first_min = placed_minutes(total_min, pulse_count, placed)
            if first_min > best_min:
                best_min = first_min
                best_count = placed
                best_off_ratio = off_ratio
            at_least_min = max(best_min + 1, pulse_count * shortest_min)
            if at_least_min < total_min:
                found_min = largest_total(
                    block,
                    opens_min,
                    closes_min,
                    at_least_min,
                    total_min - 1,
                    pulse_count,
                    off_ratio,
                    starts_min,
                )
                if found_min > 0:
                    best_min = found_min
                    best_count = pulse_count
                    best_off_ratio = off_ratio
            following = pulse_count + 1 + pulse_count // 8
            pulse_count = most if pulse_count < most < following else following
        if block.off_ratio <= 1.0:
            break
        off_ratio = 1.0
    off_ratio = block.off_ratio
    for _ in range(2):
        for pulse_count in range(fewest - 1, 0, -1):
            if pulse_count * longest_min <= best_min or best_min == total_min:
                break
            at_least_min = max(best_min + 1, pulse_count * shortest_min)
            found_min = largest_total(
                block,
                opens_min,
                closes_min,
                at_least_min,
                pulse_count * longest_min,
                pulse_count,
                off_ratio,
                starts_min,
            )
            if found_min > 0:
                best_min = found_min
                best_count = pulse_count
                best_off_ratio = off_ratio
        if block.off_ratio <= 1.0:
            break
        off_ratio = 1.0
    return best_min, best_count, best_off_ratio


@compiled
def event_peak(block: BlockDay, total_min: int, pulse_count: int, starts_min: Ints) -> float:
    """Largest depth that the day's pulses hold in the soil above what ET has taken since [mm]."""
    # Water given before a re-plan: ET since its first pulse is known only for the early part.
    after_early_mm = block.depletion_after_rain_mm - block.applied_early_net_mm
    at_first_mm, _ = depletion_at(block, after_early_mm, 0.0, float(block.not_before_min))
    held_mm = max(0.0, block.applied_early_net_mm - (at_first_mm - after_early_mm))
    held_mm += block.applied_day_net_mm
    peak_mm = held_mm
    depletion_mm, share = begin_depletion(block)
    for position in range(pulse_count):
        start_min = float(starts_min[position])
        length_min = pulse_length_min(total_min, pulse_count, position)
        net_mm = length_min * block.net_rate_mm_per_min
        at_start_mm, share = depletion_at(block, depletion_mm, share, start_min)
        held_mm = max(0.0, held_mm - (at_start_mm - depletion_mm))
        depletion_mm, share = depletion_at(
            block, at_start_mm - net_mm, share, start_min + length_min
        )
        held_mm = max(0.0, held_mm + at_start_mm - depletion_mm)
        peak_mm = max(peak_mm, held_mm)
    return peak_mm
