"""The water need of a week, county by county, for one reference block.

In: reference ET, rain and crop coefficient of the days in each county, the soil and the drip
system of a block that the adviser chooses, and the normal reference ET of that week. Out: what
that block would have needed in each county, beside the normal, with a rank. Counties are compared
by depth; the hours are valid for the reference system only.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.records import Floats, Ints, SoilBatch, SystemBatch
from service.agronomy.root_zone import gross_depth_mm, running_min
from service.agronomy.weather_flags import FieldFlag
from service.agronomy.weather_members import BAND_SHARES, weighted_quantile

UNRANKED = 0
STAND_INS = (
    FieldFlag.NORMAL_OF_SEASON
    | FieldFlag.FILLED_FROM_RECENT_DAYS
    | FieldFlag.FILLED_FROM_DAYS_AROUND
    | FieldFlag.FILLED_FROM_NEIGHBOUR
)
"""Flags of reference ET that rests on no weather of the day at the place itself."""


class Basis(StrEnum):
    """The weakest that a county's figures rest on."""

    MEASURED = "measured"
    FORECAST = "forecast"
    STAND_IN = "stand-in"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class DaysByBasis:
    """What the days of a span rest on, arrays (counties,); together they are all its days."""

    measured_days_count: Ints
    forecast_days_count: Ints
    stand_in_days_count: Ints
    """Days with the season's normal, the mean of days around, or a place nearby."""
    unknown_days_count: Ints

    def of(self, county: int) -> Basis:
        """The weakest basis of one county."""
        if self.unknown_days_count[county]:
            return Basis.UNKNOWN
        if self.stand_in_days_count[county]:
            return Basis.STAND_IN
        return Basis.FORECAST if self.forecast_days_count[county] else Basis.MEASURED


def days_by_basis(
    et0_mm: Floats, et0_flags: NDArray[np.int32], is_measured: NDArray[np.bool_]
) -> DaysByBasis:
    """How many days of a span are measured, forecast, stand-ins and not known, in each county.

    Shapes: et0_mm, et0_flags, is_measured (days, counties).
    et0_mm: reference ET [mm], NaN where it is not known; et0_flags: what is known of it;
    is_measured: whether the day's temperatures were measured.
    Returns: DaysByBasis.
    >>> normal = int(FieldFlag.NORMAL_OF_SEASON)
    >>> days = days_by_basis(np.array([[4.0], [5.0], [4.5], [np.nan]]),
    ...     np.array([[0], [0], [normal], [0]], np.int32), np.array([[True], [False], [False],
    ...     [False]]))
    >>> [int(each[0]) for each in (days.measured_days_count, days.forecast_days_count,
    ...     days.stand_in_days_count, days.unknown_days_count)]
    [1, 1, 1, 1]
    """
    is_unknown = np.isnan(et0_mm)
    is_stand_in = ~is_unknown & ((et0_flags & np.int32(STAND_INS)) != 0)
    rests_on_day = ~is_unknown & ~is_stand_in
    counts = (rests_on_day & is_measured, rests_on_day & ~is_measured, is_stand_in, is_unknown)
    return DaysByBasis(*(days.sum(axis=0, dtype=np.int64) for days in counts))


@dataclass(frozen=True, slots=True)
class CountyNeed:
    """A week of the reference block in each county, arrays (counties,)."""

    reference_et_mm: Floats
    crop_et_mm: Floats
    rain_entering_mm: Floats
    """Rain that would have entered the managed zone and stayed in it."""
    net_need_mm: Floats
    gross_need_mm: Floats
    running_h: Floats
    """Hours on the reference system."""
    percent_of_normal: Floats
    """The week's reference ET as a percentage of its normal; NaN where there is no normal."""
    normal_et0_mm: Floats
    """Reference ET of these days by the place's normals; NaN where there is none."""
    normal_need_mm: Floats
    """What the block would need net at the normal reference ET and without rain, of which no normal
    is known; NaN where there is none."""
    rank: Ints
    """1 for the largest net need; equal needs share a rank; 0 where the need is not known."""


def weekly_need(
    et0_mm: Floats,
    rain_mm: Floats,
    crop_coefficient: Floats,
    *,
    soil: SoilBatch,
    system: SystemBatch,
    normal_et0_mm: Floats,
) -> CountyNeed:
    """Water need of a reference block over the days given, usually seven, in each county.

    The block starts the week full and is kept free of stress. Rain enters before the crop takes
    its water, and what does not fit drains and is not counted.

    Shapes: et0_mm, rain_mm, crop_coefficient, normal_et0_mm (days, counties); soil and system of
    one block, (1,); the results (counties,).
    crop_coefficient: Kc of the reference block [-]; normal_et0_mm: mean of the same day of the year
    over ten years or more, NaN where there is none.
    Returns: CountyNeed; where a day is missing the need of that county is NaN, its rank 0.
    Equation: need = sum (Kc ET0) - rain that entered; gross as in NEH 623 ch. 7.
    >>> from service.agronomy.records import SoilBatch, SystemBatch
    >>> one = np.array([1.0])
    >>> system = SystemBatch(
    ...     2.0 * one, 2.0 * one, 90.0 * one, *[one] * 6, 0.0 * one, *[one] * 10)
    >>> soil = SoilBatch(*[one] * 8, np.nan * one)
    >>> week = weekly_need(np.full((7, 1), 5.0), np.zeros((7, 1)), np.full((7, 1), 0.9),
    ...     soil=soil, system=system, normal_et0_mm=np.full((7, 1), 4.0))
    >>> [round(float(x[0]), 2) for x in (week.net_need_mm, week.gross_need_mm, week.running_h)]
    [31.5, 35.0, 17.5]
    """
    net_need_mm = _net_need_mm(et0_mm, rain_mm, crop_coefficient, soil)
    total_crop_et_mm = (crop_coefficient * et0_mm).sum(axis=0)
    gross_need_mm = gross_depth_mm(
        net_need_mm,
        system.emission_uniformity_pct,
        soil.root_share_of_wetted,
        transmission_ratio=system.transmission_ratio,
        leaching_fraction=system.leaching_fraction,
    )
    reference_et_mm = et0_mm.sum(axis=0)
    normal_mm, normal_need_mm = (
        np.where(total > 0.0, total, np.nan)
        for total in (normal_et0_mm.sum(axis=0), (crop_coefficient * normal_et0_mm).sum(axis=0))
    )
    return CountyNeed(
        reference_et_mm=reference_et_mm,
        crop_et_mm=total_crop_et_mm,
        rain_entering_mm=total_crop_et_mm - net_need_mm,
        net_need_mm=net_need_mm,
        gross_need_mm=gross_need_mm,
        running_h=running_min(gross_need_mm, system.application_rate_mm_per_h) / 60.0,
        percent_of_normal=100.0 * reference_et_mm / normal_mm,
        normal_et0_mm=normal_mm,
        normal_need_mm=normal_need_mm,
        rank=_rank_from_largest(net_need_mm),
    )


def net_need_band_mm(
    et0_mm: Floats,
    rain_mm: Floats,
    crop_coefficient: Floats,
    *,
    soil: SoilBatch,
    is_coming: NDArray[np.bool_],
    member_et0_mm: Floats,
    member_rain_mm: Floats,
    weights: Floats,
) -> Floats:
    """Net needs that one in ten, half and nine in ten of the courses of the weather do not pass.

    The need is worked out course by course, since it does not follow rain in proportion. A band of
    some of the coming days would say that the others are certain.

    Shapes: et0_mm, rain_mm, crop_coefficient (days, counties), as for :func:`weekly_need`;
    is_coming (days,), the days that the courses are for, the others rest on et0_mm and rain_mm;
    member_et0_mm, member_rain_mm (days, counties, members), NaN on days of which they say nothing;
    weights (counties, members); soil of one block, (1,).
    Returns: (3, counties) [mm], rising; NaN where no day is coming or no course covers them all.
    Equation: that of :func:`weekly_need` for each course, then the quantiles of its results.
    >>> from service.agronomy.records import SoilBatch
    >>> one = np.array([1.0])
    >>> soil = SoilBatch(one, one, one, one, one, one, 0.0 * one, one, np.nan * one)
    >>> rain = np.zeros((2, 1, 3))
    >>> rain[1, 0] = [0.0, 2.0, 4.0]
    >>> net_need_band_mm(np.full((2, 1), 5.0), np.zeros((2, 1)), np.ones((2, 1)), soil=soil,
    ...     is_coming=np.array([False, True]), member_et0_mm=np.full((2, 1, 3), 5.0),
    ...     member_rain_mm=rain, weights=np.full((1, 3), 1 / 3))[:, 0].tolist()
    [6.0, 8.0, 10.0]
    """
    coming = is_coming[:, np.newaxis, np.newaxis]
    needs_mm = _net_need_mm(
        np.where(coming, member_et0_mm, et0_mm[..., np.newaxis]),
        np.where(coming, member_rain_mm, rain_mm[..., np.newaxis]),
        crop_coefficient[..., np.newaxis],
        soil,
    )
    used = np.where(np.isfinite(needs_mm) & is_coming.any(), weights, 0.0)
    return np.array([weighted_quantile(needs_mm, used, share) for share in BAND_SHARES])


def _net_need_mm(
    et0_mm: Floats, rain_mm: Floats, crop_coefficient: Floats, soil: SoilBatch
) -> Floats:
    """The need over the days, (days, ...) to (...); rain beyond a full zone drains."""
    crop_et_mm = crop_coefficient * et0_mm
    entering_mm = rain_entering_mm(rain_mm, et0_mm, soil)
    need_mm = np.zeros(crop_et_mm.shape[1:])
    for day in range(crop_et_mm.shape[0]):
        need_mm = np.maximum(0.0, need_mm - entering_mm[day]) + crop_et_mm[day]
    return need_mm


def _rank_from_largest(values: Floats) -> Ints:
    is_known = np.isfinite(values)
    rising = np.sort(values[is_known])
    larger_count = rising.size - np.searchsorted(rising, values, side="right")
    rank: Ints = np.where(is_known, larger_count + 1, UNRANKED).astype(np.int64)
    return rank
