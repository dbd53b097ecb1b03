"""What a plan would have given had the rain of its day been known.

In: the numbers of a plan and the rain that entered the zone on its day. Out: the need by the same
rule with that rain in the place of what was counted on; all else as it was expected that evening.
The difference is what the doubt about the rain cost, or spared, on that day.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats
from service.agronomy.safe_depth import FILL_SHARE

SAME_MM = 1e-6
"""Depths closer than this are one; stored numbers are rounded."""


def need_in_hindsight_mm(
    depletion_midnight_mm: Floats,
    *,
    rain_entering_mm: Floats,
    zone_et_mm: Floats,
    raw_mm: Floats,
    trigger_fraction: Floats,
    rain_room_fraction: Floats,
) -> Floats:
    """Net need of a day by the evening rule, with the rain that came.

    Shapes: all (blocks,).
    rain_entering_mm: what entered the managed zone that day; zone_et_mm: use that was expected.
    Returns: depth [mm], 0 below the trigger; NaN wherever an input is NaN.
    Equation: D_plan = max(0, D - rain) + ET; need = D_plan - rain room x RAW where D_plan is at
    least trigger x RAW, as in :func:`service.agronomy.watering_rules.water_need`.
    >>> one = np.ones(2)
    >>> need_in_hindsight_mm(8.0 * one, rain_entering_mm=np.array([0.0, 6.0]), zone_et_mm=4.0 * one,
    ...     raw_mm=10.0 * one, trigger_fraction=0.7 * one, rain_room_fraction=0.3 * one).tolist()
    [9.0, 0.0]
    """
    planned_mm = np.maximum(0.0, depletion_midnight_mm - rain_entering_mm) + zone_et_mm
    is_due = planned_mm >= trigger_fraction * raw_mm
    need_mm = np.where(is_due, np.maximum(0.0, planned_mm - rain_room_fraction * raw_mm), 0.0)
    return np.where(np.isnan(planned_mm + raw_mm), np.nan, need_mm)


def need_of_certain_rain_mm(
    depletion_midnight_mm: Floats,
    *,
    rain_entering_mm: Floats,
    zone_et_mm: Floats,
    raw_mm: Floats,
    rain_room_fraction: Floats,
    must_mm: Floats,
    planned_depletion_mm: Floats,
) -> Floats:
    """The same by the safe depth, which without a spread asks for what passes RAW, and half of what
    would still fit.

    Shapes: all (blocks,).
    must_mm, planned_depletion_mm: of the plan; where the must was asked for by a later day, rain of
    this one alone does not say what would have done.
    Returns: depth [mm]; NaN there, and wherever an input is NaN.
    Equation: must = max(0, D_plan - RAW); must + phi max(0, D_plan - rain room x RAW - must) where
    must > 0, else 0, with phi as in :mod:`service.agronomy.safe_depth`.
    >>> one = np.ones(2)
    >>> need_of_certain_rain_mm(8.0 * one, rain_entering_mm=np.array([0.0, 6.0]),
    ...     zone_et_mm=4.0 * one, raw_mm=10.0 * one, rain_room_fraction=0.3 * one,
    ...     must_mm=2.5 * one, planned_depletion_mm=12.5 * one).tolist()
    [5.5, 0.0]
    """
    planned_mm = np.maximum(0.0, depletion_midnight_mm - rain_entering_mm) + zone_et_mm
    least_mm = np.maximum(0.0, planned_mm - raw_mm)
    fill_mm = np.maximum(0.0, planned_mm - rain_room_fraction * raw_mm)
    more_mm = FILL_SHARE * np.maximum(0.0, fill_mm - least_mm)
    need_mm = np.where(least_mm > 0.0, least_mm + more_mm, 0.0)
    is_of_later_day = must_mm > np.maximum(0.0, planned_depletion_mm - raw_mm) + SAME_MM
    return np.where(is_of_later_day | np.isnan(planned_mm + raw_mm), np.nan, need_mm)
