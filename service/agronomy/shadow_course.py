"""What a rule would have done to the soil, day after day, beside what was booked.

In: the ledger of some days, and the depth that the rule decided on the evening before each. Out:
its own depletion, drainage and thirst. Days on which it decided nothing take what was booked, so
that a course begins, and begins again after a gap, with the soil as it was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.agronomy.water_balance import step_day

SHORT_BEYOND_MM = 1e-9
"""Above readily available water by more than arithmetic leaves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BookedDays:
    """The days of a ledger that a course follows, arrays (days, blocks); NaN: not kept yet."""

    depletion_start_mm: Floats
    rain_entering_mm: Floats
    zone_et_mm: Floats
    """What the crop would take from the managed zone without stress."""
    taw_mm: Floats
    raw_mm: Floats
    correction_mm: Floats
    """By soil readings at the end of the day."""
    depletion_end_mm: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadowCourse:
    """A rule's own days, arrays (days, blocks); NaN where it had decided nothing."""

    net_mm: Floats
    drainage_mm: Floats
    lost_et_mm: Floats
    """Transpiration lost to dry soil."""
    depletion_end_mm: Floats
    is_short: NDArray[np.bool_]
    """The day ends beyond readily available water."""


def follow_course(booked: BookedDays, decided_mm: Floats, depletion_mm: Floats) -> ShadowCourse:
    """The course of a rule over the days of a ledger.

    Shapes: booked and decided_mm (days, blocks); depletion_mm (blocks,).
    decided_mm: net depth decided for each day, as far as the system can give it; NaN: nothing was
    decided. depletion_mm: the course's at the midnight before the first day; NaN: as booked.
    Returns: ShadowCourse. A soil reading moves it by as much as the booked depletion.
    Equation: the step of the water balance, the water spread over the day's ET [CHOICE], since no
    pulses are placed for it.
    >>> one = np.array([[6.0], [6.0]])
    >>> days = BookedDays(
    ...     depletion_start_mm=one, rain_entering_mm=0.0 * one, zone_et_mm=one / 2.0,
    ...     taw_mm=5.0 * one, raw_mm=2.0 * one, correction_mm=0.0 * one, depletion_end_mm=one,
    ... )
    >>> course = follow_course(days, np.array([[4.0], [1.0]]), np.array([np.nan]))
    >>> course.depletion_end_mm[:, 0].tolist()
    [5.0, 7.0]
    """
    found = np.full((4, *decided_mm.shape), np.nan)
    left_mm = depletion_mm
    for day in range(decided_mm.shape[0]):
        end_mm = booked.depletion_end_mm[day]
        net_mm = np.where(np.isfinite(end_mm), decided_mm[day], np.nan)
        ledger = step_day(
            np.where(np.isnan(left_mm), booked.depletion_start_mm[day], left_mm),
            taw_mm=booked.taw_mm[day],
            raw_mm=booked.raw_mm[day],
            rain_entering_mm=booked.rain_entering_mm[day],
            crop_et_mm=booked.zone_et_mm[day],
            early_net_mm=0.0 * net_mm,
            day_net_mm=net_mm,
        )
        corrected_mm = ledger.depletion_end_mm + np.nan_to_num(booked.correction_mm[day])
        own_mm = np.clip(corrected_mm, 0.0, booked.taw_mm[day])
        lost_mm = ledger.crop_et_mm - ledger.actual_crop_et_mm
        is_known = np.isfinite(own_mm)
        for row, term in enumerate((net_mm, ledger.drainage_mm, lost_mm, own_mm)):
            found[row, day] = np.where(is_known, term, np.nan)
        left_mm = np.where(is_known, own_mm, np.where(np.isnan(end_mm), left_mm, end_mm))
    return ShadowCourse(
        net_mm=found[0],
        drainage_mm=found[1],
        lost_et_mm=found[2],
        depletion_end_mm=found[3],
        is_short=found[3] > booked.raw_mm + SHORT_BEYOND_MM,
    )
