"""The evening's rules: how much of the deficit to refill, and the limits on pulse length.

In go tomorrow's depletion, crop water use and credited rain; out come the net need in two tiers,
the shortest and longest pulse of each block, and what a plan leaves unmet. The fractions are
[CHOICE]: settings with a default that a grower can see and change, not published constants.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.records import Floats, Ints, SoilBatch, SystemBatch
from service.agronomy.root_zone import depth_limit_min, event_volume_limit_mm, gross_depth_mm
from service.unit_sizes import MINUTES_PER_HOUR

CREDITED_PROBABILITY_FRACTION = 0.3  # [CHOICE] rain less likely than this is not counted on
SHORTEST_PULSE_MIN = 10.0  # [CHOICE] min
FILL_TIMES_PER_PULSE_COUNT = 3.0  # [CHOICE] a pulse lasts at least this many times the fill time


@dataclass(frozen=True, slots=True)
class WaterNeed:
    """The coming day's need, arrays (blocks,), net depth over the whole block."""

    depletion_after_rain_mm: Floats
    """D1: depletion at midnight less the credited rain."""
    planned_depletion_mm: Floats
    """D1 plus tomorrow's crop water use, without stress."""
    trigger_mm: Floats
    rain_room_mm: Floats
    need_mm: Floats
    urgent_need_mm: Floats
    """The part without which the block runs out of readily available water."""


@dataclass(frozen=True, slots=True)
class PulseLimits:
    """Limits on the length of each block's pulses, arrays (blocks,)."""

    shortest_pulse_min: Ints
    longest_pulse_min: Ints
    depth_limit_min: Floats
    """Length at which one pulse wets down to its share of the root depth."""
    event_limit_mm: Floats
    """Net depth of an event that wets the whole root depth."""
    shortest_passes_depth: NDArray[np.bool_]
    """The shortest pulse already wets deeper than that share: the shortest is kept, with a
    warning."""


def credited_rain_mm(rain_entering_mm: ArrayLike, rain_probability_fraction: ArrayLike) -> Floats:
    """Forecast rain that the plan counts on: the likely part of what would enter the zone.

    Shapes: any, broadcast.
    rain_entering_mm: what the forecast amount would bring into the managed zone [mm].
    rain_probability_fraction: 0..1; 1 for measured rain.
    Returns: depth [mm]; 0 where the probability is below 0.3; NaN rain stays NaN.
    Equation: probability x entering rain where probability >= 0.3 [CHOICE].
    >>> credited_rain_mm([4.0, 4.0], [0.5, 0.2]).tolist()
    [2.0, 0.0]
    """
    probability = np.asarray(rain_probability_fraction, dtype=np.float64)
    counted = np.where(probability >= CREDITED_PROBABILITY_FRACTION, probability, 0.0)
    credit: Floats = counted * np.asarray(rain_entering_mm, dtype=np.float64)
    return credit


def water_need(
    depletion_midnight_mm: Floats,
    *,
    rain_credit_mm: Floats,
    crop_et_mm: Floats,
    raw_mm: Floats,
    system: SystemBatch,
    is_dormant: NDArray[np.bool_] | None = None,
) -> WaterNeed:
    """Net water to refill tomorrow, and how much of it cannot wait.

    Shapes: all (blocks,).
    is_dormant: blocks outside their watering season; none when None.
    Returns: WaterNeed; need 0 below the trigger and while dormant; NaN wherever an input is NaN.
    Equation: D1 = max(0, D - credit); D_plan = D1 + Kc ET0; need = D_plan - rain room x RAW where
    D_plan >= trigger x RAW, else 0; urgent = max(0, D_plan - RAW). Trigger and rain room are
    [CHOICE], 0.7 and 0.3 of RAW unless the grower sets them.
    """
    depletion_after_rain_mm = np.maximum(0.0, depletion_midnight_mm - rain_credit_mm)
    planned_depletion_mm = depletion_after_rain_mm + crop_et_mm
    trigger_mm = system.trigger_fraction * raw_mm
    rain_room_mm = system.rain_room_fraction * raw_mm
    need_mm = np.where(
        planned_depletion_mm >= trigger_mm, np.maximum(0.0, planned_depletion_mm - rain_room_mm), 0
    )
    if is_dormant is not None:
        need_mm = np.where(is_dormant, 0.0, need_mm)
    unknown = np.isnan(planned_depletion_mm)
    urgent_need_mm = np.minimum(np.maximum(0.0, planned_depletion_mm - raw_mm), need_mm)
    return WaterNeed(
        depletion_after_rain_mm=depletion_after_rain_mm,
        planned_depletion_mm=planned_depletion_mm,
        trigger_mm=trigger_mm,
        rain_room_mm=rain_room_mm,
        need_mm=np.where(unknown, np.nan, need_mm),
        urgent_need_mm=np.where(unknown, np.nan, urgent_need_mm),
    )


def pulse_limits(system: SystemBatch, soil: SoilBatch) -> PulseLimits:
    """Shortest and longest pulse of each block.

    Shapes: all (blocks,).
    Returns: PulseLimits, whole minutes; depth limit NaN where an input is NaN, and the minutes of
    such a block are meaningless.
    Equation: shortest = max(10 min, 3 fill times); longest = max(shortest, min(grower's longest,
    time at which the wetted depth reaches 0.6 of the root depth)). Wetted depth after
    Schwartzman & Zur 1986 (from memory); the shares are [CHOICE].
    """
    shortest = np.ceil(
        np.maximum(SHORTEST_PULSE_MIN, FILL_TIMES_PER_PULSE_COUNT * system.fill_time_min)
    )
    to_depth_min = depth_limit_min(system, soil)
    longest = np.maximum(
        shortest, np.floor(np.minimum(system.grower_longest_pulse_min, to_depth_min))
    )
    return PulseLimits(
        shortest_pulse_min=whole_minutes(shortest),
        longest_pulse_min=whole_minutes(longest),
        depth_limit_min=to_depth_min,
        # Net depth leaves out water on soil without roots, so its limit must do the same.
        event_limit_mm=event_volume_limit_mm(system, soil) * soil.root_share_of_wetted,
        shortest_passes_depth=shortest > to_depth_min,
    )


def daily_maximum_min(limits: PulseLimits, system: SystemBatch) -> Floats:
    """Longest running time of a day, which the pulses allowed may shorten.

    Shapes: (blocks,).
    Returns: whole minutes; NaN where a limit is not known.
    Equation: min(daily maximum, allowed pulses x longest pulse), rounded down.
    """
    by_count = system.daily_pulse_count * limits.longest_pulse_min
    return np.asarray(np.floor(np.minimum(system.daily_maximum_min, by_count)))


def whole_minutes(minutes: Floats) -> Ints:
    """Minutes as integers; unknown ones become 1 and must not be used.

    Shapes: any; minutes are whole already and finite or NaN.
    Returns: whole minutes.
    >>> whole_minutes(np.array([30.0, np.nan])).tolist()
    [30, 1]
    """
    return np.where(np.isnan(minutes), 1.0, minutes).astype(np.int64)


def net_rate_mm_per_min(system: SystemBatch, soil: SoilBatch) -> Floats:
    """Net depth that reaches the managed zone per minute of running.

    Shapes: all (blocks,).
    Returns: rate [mm/min] over the whole block area.
    Equation: application rate / 60 divided by the gross depth of 1 mm net
    (NEH 623 ch. 7 form, from memory).
    """
    gross_per_net = gross_depth_mm(
        np.ones_like(system.application_rate_mm_per_h),
        system.emission_uniformity_pct,
        soil.root_share_of_wetted,
        transmission_ratio=system.transmission_ratio,
        leaching_fraction=system.leaching_fraction,
    )
    rate: Floats = system.application_rate_mm_per_h / MINUTES_PER_HOUR / gross_per_net
    return rate


def uniform_share(system: SystemBatch) -> Floats:
    """Share of the gross depth that every emitter of the low quarter still gives.

    Shapes: (blocks,).
    Returns: 0..1; the rest of the gross depth falls beyond it and is booked as a loss.
    Equation: 1 / gross depth of 1 mm net with all roots in the wetted soil.
    """
    share: Floats = 1.0 / gross_depth_mm(
        np.ones_like(system.application_rate_mm_per_h),
        system.emission_uniformity_pct,
        np.ones_like(system.application_rate_mm_per_h),
        transmission_ratio=system.transmission_ratio,
        leaching_fraction=system.leaching_fraction,
    )
    return share


def shortfall_mm(need: WaterNeed, planned_net_mm: Floats, raw_mm: Floats) -> Floats:
    """Shortfall of the plan below the readily available water.

    Shapes: all (blocks,).
    Returns: depth [mm], 0 where the plan suffices; NaN wherever the need is NaN.
    Equation: min(need - net, D_plan - net - RAW), where positive.
    """
    lacking = np.minimum(
        need.need_mm - planned_net_mm, need.planned_depletion_mm - planned_net_mm - raw_mm
    )
    short: Floats = np.maximum(0.0, lacking)
    return short
