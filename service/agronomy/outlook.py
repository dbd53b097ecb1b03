"""The coming week as the plan expects it: minutes each day, and when an unwatered block runs short.

In go the forecast days from tomorrow on; out come expected minutes, depletions and the answers to
two questions of a grower: how long could this block go without water, and does the system keep up?
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints, SystemBatch, WindowBatch
from service.agronomy.water_balance import step_day
from service.agronomy.watering_rules import PulseLimits, water_need

NEVER = -1
"""Index of "on none of the days shown"."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast days from tomorrow on, arrays (days, blocks) unless noted."""

    expected_min: Floats
    """Minutes of running; NaN where the day's weather is not known."""
    depletion_end_mm: Floats
    """Depletion at the end of each day with that water."""
    unwatered_passes_raw_day: Ints
    """(blocks,) row of the first day on which the block runs out of readily available water if it
    is not watered from now on; NEVER if on none of them."""
    keeps_up: NDArray[np.bool_]
    """(blocks,) the block stays within its readily available water on every day shown."""


def day_capacity_min(system: SystemBatch, limits: PulseLimits, windows: WindowBatch) -> Floats:
    """Minutes that a block could run on a day with these windows, if it were alone.

    Shapes: all (blocks,); result (blocks,).
    Returns: minutes; an estimate, since it ignores how fast the soil makes room.
    Equation: one pulse up to the window, or the window shared by pulses and off times of at
    least their own length, whichever is more; never above the daily maximum.
    """
    open_min = (windows.closes_min - windows.opens_min).sum(axis=1).astype(np.float64)
    single = np.minimum(limits.longest_pulse_min, open_min)
    shared = open_min / (1.0 + np.minimum(system.off_ratio, 1.0))
    capacity: Floats = np.minimum(np.maximum(single, shared), system.daily_maximum_min)
    return capacity


def look_ahead(
    system: SystemBatch,
    *,
    crop_et_mm: Floats,
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
) -> Outlook:
    """Run the evening rule over the forecast days; tomorrow gets what is planned.

    Shapes: weather terms (days, blocks); planned, rates (blocks,); supply flow (supplies,).
    windows_of_day: one per day; equal days may share one object.
    Returns: Outlook; later days share a short supply in proportion, and give the share of
    their water before sunrise that tomorrow does, as far as there is room then, and the rest evenly
    over the day's ET [CHOICE].
    Equation: the step of the water balance, day by day, with the credited rain.
    """
    day_count, block_count = crop_et_mm.shape
    expected_min = np.full((day_count, block_count), np.nan)
    depletion_end_mm = np.full((day_count, block_count), np.nan)
    known_windows: WindowBatch | None = None
    watered_mm = depletion_midnight_mm
    early_share = _early_share(planned_early_net_mm, planned_net_mm)
    unwatered_mm = depletion_midnight_mm
    passes_day = np.full(block_count, NEVER, dtype=np.int64)
    for day in range(day_count):
        need = water_need(
            watered_mm,
            rain_credit_mm=rain_credit_mm[day],
            crop_et_mm=crop_et_mm[day],
            raw_mm=raw_mm[day],
            system=system,
        )
        if day == 0:
            net_mm = np.where(np.isnan(need.need_mm), np.nan, planned_net_mm)
            minutes = net_mm / net_rate_mm_per_min
        else:
            if windows_of_day[day] is not known_windows:
                known_windows = windows_of_day[day]
                capacity_min = day_capacity_min(system, limits, known_windows)
                open_min = _open_minutes(
                    known_windows, system.supply_index, supply_flow_l_per_h.size
                )
            minutes = np.minimum(need.need_mm / net_rate_mm_per_min, capacity_min)
            minutes = minutes * _supply_share(
                minutes * system.flow_l_per_h,
                system.supply_index,
                supply_flow_l_per_h,
                open_min,
            )
            net_mm = minutes * net_rate_mm_per_min
        expected_min[day] = minutes
        early_mm = np.minimum(net_mm * early_share, need.depletion_after_rain_mm)
        depletion_end_mm[day] = watered_mm = step_day(
            watered_mm,
            taw_mm=taw_mm[day],
            raw_mm=raw_mm[day],
            rain_entering_mm=rain_credit_mm[day],
            crop_et_mm=crop_et_mm[day],
            early_net_mm=early_mm,
            day_net_mm=net_mm - early_mm,
        ).depletion_end_mm
        unwatered_mm = np.maximum(0.0, unwatered_mm - rain_credit_mm[day]) + crop_et_mm[day]
        passes_day[(passes_day == NEVER) & (unwatered_mm > raw_mm[day])] = day
    known = np.isfinite(depletion_end_mm)
    return Outlook(
        expected_min=expected_min,
        depletion_end_mm=depletion_end_mm,
        unwatered_passes_raw_day=passes_day,
        keeps_up=np.all(~known | (depletion_end_mm <= raw_mm + 1e-9), axis=0),
    )


def _early_share(planned_early_net_mm: Floats, planned_net_mm: Floats) -> Floats:
    """Share of tomorrow's water that comes before sunrise, (blocks,); 1 where none is planned."""
    share = np.ones(planned_net_mm.shape)
    is_watered = planned_net_mm > 0.0
    share[is_watered] = planned_early_net_mm[is_watered] / planned_net_mm[is_watered]
    return share


def _open_minutes(windows: WindowBatch, supply_index: Ints, supply_count: int) -> Floats:
    """Longest time of the day in which any block of each supply may run, (supplies,)."""
    minutes = np.zeros(supply_count)
    open_min = (windows.closes_min - windows.opens_min).sum(axis=1).astype(np.float64)
    np.maximum.at(minutes, supply_index, open_min)
    return minutes


def _supply_share(
    volume_rate: Floats, supply_index: Ints, supply_flow_l_per_h: Floats, open_min: Floats
) -> Floats:
    """Share of the wanted minutes that each block's supply can carry, (blocks,), at most 1."""
    wanted = np.bincount(
        supply_index, weights=np.nan_to_num(volume_rate), minlength=supply_flow_l_per_h.size
    )
    carried = supply_flow_l_per_h * open_min
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(wanted > 0, np.minimum(1.0, carried / wanted), 1.0)
    picked: Floats = share[supply_index]
    return picked
