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
from service.kernels import compiled, record_layout

ROOM_TOLERANCE_MM = 1e-9  # rounding of sums of depths; far below anything a meter can show
MINUTE_TOLERANCE_MIN = 1e-9  # a need of exactly 30 min must not be rounded down to 29
FLOW_TOLERANCE_L_PER_H = 1e-6  # rounding of sums of flows
NEVER_MIN = 1 << 40  # later than any day's last minute: "there is no such start"


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
def et_share(minute: float, sunrise_min: float, sunset_min: float) -> float:
    """Share of the day's ET that has passed by a minute: F(t), 0.5 at solar noon.

    (1 - cos(pi (t - sunrise) / daylength)) / 2, a half sine of the ET rate over the daylight hours.
    [CHOICE]: no published source.
    """
    if minute < sunrise_min:
        return 0.0
    if minute >= sunset_min:
        return 1.0
    turned = math.pi * (minute - sunrise_min) / (sunset_min - sunrise_min)
    return (1.0 - math.cos(turned)) / 2.0


@compiled
def stress_coefficient(block: BlockDay, early_net_mm: float) -> float:
    """Ks of the day, from the depletion at sunrise after the early pulses (FAO-56 Eq. 84)."""
    depletion_mm = block.depletion_after_rain_mm - early_net_mm
    if depletion_mm <= block.raw_mm:
        return 1.0
    if depletion_mm >= block.taw_mm:
        return 0.0
    return (block.taw_mm - depletion_mm) / (block.taw_mm - block.raw_mm)


@compiled
def room_minute(
    block: BlockDay, early_net_mm: float, day_net_mm: float, pulse_net_mm: float
) -> int:
    """First minute at which the room takes a pulse's net depth: room(t) solved for t.

    0 where there is room from midnight on, ``NEVER_MIN`` where the day's ET does not make it.
    """
    missing_mm = early_net_mm + day_net_mm + pulse_net_mm - block.depletion_after_rain_mm
    missing_mm -= ROOM_TOLERANCE_MM
    if missing_mm <= 0.0:
        return 0
    et_mm = stress_coefficient(block, early_net_mm) * block.crop_et_mm
    if missing_mm > et_mm:
        return NEVER_MIN
    if block.sunset_min <= block.sunrise_min:
        return math.ceil(block.sunrise_min)
    turned = math.acos(max(-1.0, 1.0 - 2.0 * missing_mm / et_mm))
    exact_min = block.sunrise_min + (block.sunset_min - block.sunrise_min) * turned / math.pi
    return math.ceil(exact_min - MINUTE_TOLERANCE_MIN)


@compiled
def window_start(opens_min: Ints, closes_min: Ints, from_min: int, duration_min: int) -> int:
    """First minute from which a pulse lies wholly inside one window of the block's row."""
    for window in range(opens_min.shape[0]):
        start_min = max(from_min, opens_min[window])
        if start_min + duration_min <= closes_min[window]:
            return int(start_min)
    return NEVER_MIN


@compiled
def window_latest_start(
    opens_min: Ints, closes_min: Ints, start_min: int, duration_min: int
) -> int:
    """Last minute at which the pulse may still start in the window that holds its start."""
    for window in range(opens_min.shape[0]):
        if opens_min[window] <= start_min and start_min + duration_min <= closes_min[window]:
            return int(closes_min[window] - duration_min)
    return -1


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
    early_net_mm = block.applied_early_net_mm
    day_net_mm = block.applied_day_net_mm
    free_from_min = block.not_before_min
    end_min = 0
    is_room_bound = False
    for position in range(pulse_count):
        length_min = pulse_length_min(total_min, pulse_count, position)
        net_mm = length_min * block.net_rate_mm_per_min
        from_min = room_minute(block, early_net_mm, day_net_mm, net_mm)
        if from_min > free_from_min:
            is_room_bound = True
        else:
            from_min = free_from_min
        if from_min == NEVER_MIN:
            return position, end_min, True
        start_min = window_start(opens_min, closes_min, from_min, length_min)
        if start_min == NEVER_MIN:
            return position, end_min, is_room_bound
        if position < starts_min.shape[0]:
            starts_min[position] = start_min
        if start_min < block.sunrise_min:
            early_net_mm += net_mm
        else:
            day_net_mm += net_mm
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
    most = total_min // shortest_min
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
    early_net_mm = block.applied_early_net_mm
    for position in range(pulse_count):
        if starts_min[position] < block.sunrise_min:
            length_min = pulse_length_min(total_min, pulse_count, position)
            early_net_mm += length_min * block.net_rate_mm_per_min
    et_mm = stress_coefficient(block, early_net_mm) * block.crop_et_mm
    # Water given before a re-plan: ET since its first pulse is known only for the early part.
    share_before = et_share(float(block.not_before_min), block.sunrise_min, block.sunset_min)
    held_mm = max(0.0, block.applied_early_net_mm - et_mm * share_before)
    held_mm += block.applied_day_net_mm
    peak_mm = held_mm
    for position in range(pulse_count):
        start_min = float(starts_min[position])
        length_min = pulse_length_min(total_min, pulse_count, position)
        share_start = et_share(start_min, block.sunrise_min, block.sunset_min)
        share_end = et_share(start_min + length_min, block.sunrise_min, block.sunset_min)
        held_mm = max(0.0, held_mm - et_mm * (share_start - share_before))
        held_mm += length_min * block.net_rate_mm_per_min - et_mm * (share_end - share_start)
        held_mm = max(0.0, held_mm)
        peak_mm = max(peak_mm, held_mm)
        share_before = share_end
    return peak_mm
