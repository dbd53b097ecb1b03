"""The coming week as the plan expects it: minutes each day, and when an unwatered block runs short.

In go the forecast days from tomorrow on; out come expected minutes, depletions and the answers to
two questions of a grower: how long could this block go without water, and does the system keep up?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.hand_visits import visit_capacity_min
from service.agronomy.records import Floats, Ints, SystemBatch, WindowBatch
from service.agronomy.water_balance import step_day
from service.agronomy.watering_rules import PulseLimits, water_need
from service.unit_sizes import MINUTES_PER_HOUR

SHARE_STEPS = 24
"""Halvings until the share of a supply is known: to less than a second of a day's minutes."""
NEVER = -1
"""Index of "on none of the days shown"."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast days from tomorrow on, arrays (days, blocks) unless noted."""

    expected_min: Floats
    """Minutes of running; NaN where the day's weather is not known."""
    depletion_end_mm: Floats
    """Depletion at the end of each day with that water."""
    drainage_mm: Floats
    """What drains of it and of the rain that is counted on."""
    unwatered_passes_raw_day: Ints
    """(blocks,) row of the first day on which the block runs out of readily available water if it
    is not watered from now on, dormant days left out; NEVER if on none of them."""
    keeps_up: NDArray[np.bool_]
    """(blocks,) the block stays within its readily available water on every day shown on which it
    is not dormant."""


def day_capacity_min(system: SystemBatch, limits: PulseLimits, windows: WindowBatch) -> Floats:
    """Minutes that a block could run on a day with these windows, if it were alone.

    Shapes: all (blocks,); result (blocks,).
    Returns: minutes; an estimate, since it ignores how fast the soil makes room.
    Equation: the most of min(n longest, open n / (n + (n - 1) off)) over numbers n of pulses, with
    an off time of once the pulse at most, to which plans fall back; never above the daily maximum.
    Of valves opened by hand: pulses that begin with a visit.
    """
    open_min = (windows.closes_min - windows.opens_min).sum(axis=1).astype(np.float64)
    off_ratio = np.minimum(system.off_ratio, 1.0)
    longest_min = limits.longest_pulse_min.astype(np.float64)
    # Where whole pulses and their off times fill the window; the best is a neighbour of it.
    filled = (open_min + off_ratio * longest_min) / ((1.0 + off_ratio) * longest_min)
    best = np.zeros(open_min.shape)
    for count in (np.maximum(1.0, np.floor(filled)), np.floor(filled) + 1.0):
        shared = open_min * count / (count + (count - 1.0) * off_ratio)
        best = np.maximum(best, np.minimum(count * longest_min, shared))
    by_hand = visit_capacity_min(windows, limits.longest_pulse_min, system.daily_pulse_count)
    best = np.where(np.isnan(by_hand), best, by_hand)
    capacity: Floats = np.minimum(best, system.daily_maximum_min)
    return capacity


def day_capacity_mm(
    system: SystemBatch,
    limits: PulseLimits,
    windows: WindowBatch,
    *,
    net_rate_mm_per_min: Floats,
    most_mm: Floats,
    supply_flow_l_per_h: Floats,
) -> Floats:
    """Net depth that a day can add where every block of a supply asks for as much.

    Shapes: (blocks,); flow (supplies,).
    most_mm: what each block asks for at most.
    Returns: depth [mm]: what the block's hours let through, at most what is asked for, and its
    share of a supply that cannot give that to all.
    Equation: :func:`day_capacity_min` and :func:`share_supplies`, times the net rate.
    """
    capacity_min = day_capacity_min(system, limits, windows)
    open_min = open_minutes(windows, system, supply_flow_l_per_h.size)
    minutes = share_supplies(
        np.minimum(most_mm / net_rate_mm_per_min, capacity_min),
        capacity_min,
        flow_l_per_h=system.flow_l_per_h,
        supply_index=system.supply_index,
        priority=system.priority,
        carried_l=supply_flow_l_per_h * open_min / MINUTES_PER_HOUR,
    )
    return minutes * net_rate_mm_per_min


def look_ahead(
    system: SystemBatch,
    *,
    crop_et_mm: Floats,
    is_dormant: NDArray[np.bool_],
    rain_credit_mm: Floats,
    taw_mm: Floats,
    raw_mm: Floats,
    depletion_midnight_mm: Floats,
    planned_net_mm: Floats,
    planned_early_net_mm: Floats,
    net_rate_mm_per_min: Floats,
    limits: PulseLimits,
    windows_of_day: Sequence[WindowBatch],
    supply_flow_l_per_h: Floats,
    fixed_min: Floats | None = None,
) -> Outlook:
    """Run the evening rule over the forecast days; tomorrow gets what is planned.

    Shapes: weather terms, is_dormant (days, blocks); planned, rates (blocks,); flow (supplies,).
    windows_of_day: one per day; equal days may share one object.
    fixed_min: (days, blocks) minutes that are decided elsewhere, NaN where the need decides.
    Returns: Outlook; later days share a short supply as plans do, and give the share of
    their water before sunrise that tomorrow does, as far as there is room then, and the rest evenly
    over the day's ET [CHOICE].
    Equation: the step of the water balance, day by day, with the credited rain.
    """
    courses = np.full((3, *crop_et_mm.shape), np.nan)
    known_windows: WindowBatch | None = None
    watered_mm = depletion_midnight_mm
    early_share = early_share_of(planned_early_net_mm, planned_net_mm)
    for day in range(crop_et_mm.shape[0]):
        need = water_need(
            watered_mm,
            rain_credit_mm=rain_credit_mm[day],
            crop_et_mm=crop_et_mm[day],
            raw_mm=raw_mm[day],
            system=system,
            is_dormant=is_dormant[day],
        )
        if day == 0:
            net_mm = np.where(np.isnan(need.need_mm), np.nan, planned_net_mm)
            minutes = net_mm / net_rate_mm_per_min
        else:
            if windows_of_day[day] is not known_windows:
                known_windows = windows_of_day[day]
                capacity_min = day_capacity_min(system, limits, known_windows)
                open_min = open_minutes(known_windows, system, supply_flow_l_per_h.size)
            minutes = share_supplies(
                need.need_mm / net_rate_mm_per_min,
                capacity_min,
                flow_l_per_h=system.flow_l_per_h,
                supply_index=system.supply_index,
                priority=system.priority,
                carried_l=supply_flow_l_per_h * open_min / MINUTES_PER_HOUR,
            )
            minutes = minutes if fixed_min is None else _or_fixed(minutes, fixed_min[day])
            net_mm = minutes * net_rate_mm_per_min
        early_mm = np.minimum(net_mm * early_share, need.depletion_after_rain_mm)
        ledger = step_day(
            watered_mm,
            taw_mm=taw_mm[day],
            raw_mm=raw_mm[day],
            rain_entering_mm=rain_credit_mm[day],
            crop_et_mm=crop_et_mm[day],
            early_net_mm=early_mm,
            day_net_mm=net_mm - early_mm,
        )
        courses[:, day] = minutes, ledger.depletion_end_mm, ledger.drainage_mm
        watered_mm = ledger.depletion_end_mm
    limit_mm = np.where(is_dormant, np.inf, raw_mm)
    passes_day = _first_short_day(depletion_midnight_mm, crop_et_mm, rain_credit_mm, limit_mm)
    return Outlook(
        expected_min=courses[0], depletion_end_mm=courses[1], drainage_mm=courses[2],
        unwatered_passes_raw_day=passes_day,
        keeps_up=~np.any(courses[1] > limit_mm + 1e-9, axis=0),
    )  # fmt: skip


def _or_fixed(minutes: Floats, fixed_min: Floats) -> Floats:
    """(blocks,) the minutes that are decided elsewhere, where they are."""
    return np.where(np.isnan(fixed_min), minutes, fixed_min)


def _first_short_day(
    depletion_mm: Floats, crop_et_mm: Floats, rain_mm: Floats, limit_mm: Floats
) -> Ints:
    """(blocks,) first day on which a block that is not watered passes a limit; NEVER if on none."""
    passes_day = np.full(depletion_mm.shape, NEVER, dtype=np.int64)
    for day in range(crop_et_mm.shape[0]):
        depletion_mm = np.maximum(0.0, depletion_mm - rain_mm[day]) + crop_et_mm[day]
        passes_day[(passes_day == NEVER) & (depletion_mm > limit_mm[day])] = day
    return passes_day


def early_share_of(planned_early_net_mm: Floats, planned_net_mm: Floats) -> Floats:
    """Share of tomorrow's water that comes before sunrise, which later days keep to.

    Shapes: all (blocks,).
    Returns: 0..1; 1 where none is planned.
    Source: a choice of this service.
    >>> early_share_of(np.array([1.0, 0.0]), np.array([4.0, 0.0])).tolist()
    [0.25, 1.0]
    """
    share = np.ones(planned_net_mm.shape)
    is_watered = planned_net_mm > 0.0
    share[is_watered] = planned_early_net_mm[is_watered] / planned_net_mm[is_watered]
    return share


def open_minutes(windows: WindowBatch, system: SystemBatch, supply_count: int) -> Floats:
    """Longest time of the day in which any block of each supply may run.

    Shapes: windows and system (blocks,); result (supplies,).
    Returns: minutes.
    Source: a choice of this service: the hours of a supply are not the sum of its blocks'.
    """
    minutes = np.zeros(supply_count)
    open_min = (windows.closes_min - windows.opens_min).sum(axis=1).astype(np.float64)
    np.maximum.at(minutes, system.supply_index, open_min)
    return minutes


def share_supplies(
    wanted_min: Floats,
    capacity_min: Floats,
    *,
    flow_l_per_h: Floats,
    supply_index: Ints,
    priority: Ints,
    carried_l: Floats,
) -> Floats:
    """Minutes of each block where a supply may carry less than its blocks want.

    Shapes: all (blocks,); carried_l (supplies,).
    wanted_min: minutes that the need asks for; capacity_min: most that a block could run alone.
    priority: rank of each block; the smallest is served first.
    carried_l: what a supply gives in its open minutes [L].
    Returns: minutes, NaN where they are not known.
    Equation: min(s wanted, capacity) with the largest share s <= 1 at which each supply carries the
    sum; blocks that can have no more leave the rest to the others, and ranks of blocks what they
    do not use to those after them [CHOICE], as in plans.
    """
    minutes = np.full(wanted_min.shape, np.nan)
    for rank in np.unique(priority).tolist():
        own = np.flatnonzero(priority == rank)
        minutes[own] = _share_alike(
            wanted_min[own],
            capacity_min[own],
            flow_l_per_h=flow_l_per_h[own],
            supply_index=supply_index[own],
            carried_l=carried_l,
        )
        used_l = np.nan_to_num(minutes[own] * flow_l_per_h[own] / MINUTES_PER_HOUR)
        of_supply = np.bincount(supply_index[own], weights=used_l, minlength=carried_l.size)
        carried_l = np.maximum(0.0, carried_l - of_supply)
    return minutes


def _share_alike(
    wanted_min: Floats,
    capacity_min: Floats,
    *,
    flow_l_per_h: Floats,
    supply_index: Ints,
    carried_l: Floats,
) -> Floats:
    """Minutes of the blocks of one rank, all at the same share of their need."""
    alone_min = np.minimum(wanted_min, capacity_min)
    supply_count = carried_l.size

    def volume_l(minutes: Floats) -> Floats:
        weights = np.nan_to_num(minutes * flow_l_per_h / MINUTES_PER_HOUR)
        volumes = np.bincount(supply_index, weights=weights, minlength=supply_count)
        return np.asarray(volumes, dtype=np.float64)

    is_short = volume_l(alone_min) > carried_l
    if not is_short.any():
        return alone_min
    low, high = np.zeros(supply_count), np.ones(supply_count)
    for _ in range(SHARE_STEPS):
        middle = (low + high) / 2.0
        fits = volume_l(np.minimum(middle[supply_index] * wanted_min, capacity_min)) <= carried_l
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    share = np.where(is_short, low, 1.0)[supply_index]
    return np.asarray(np.minimum(share * wanted_min, capacity_min))
