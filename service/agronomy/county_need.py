"""The water need of a week, county by county, for one reference block.

In: reference ET, rain and crop coefficient of the days in each county, the soil and the drip
system of a block that the adviser chooses, and the normal reference ET of that week. Out: what
that block would have needed in each county, beside the normal, with a rank. Counties are compared
by depth; the hours are valid for the reference system only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.records import Floats, Ints, SoilBatch, SystemBatch
from service.agronomy.root_zone import gross_depth_mm, running_min

UNRANKED = 0


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

    Shapes: et0_mm, rain_mm, crop_coefficient (days, counties); soil and system of one block, (1,);
    normal_et0_mm and the results (counties,).
    crop_coefficient: Kc of the reference block [-]; normal_et0_mm: sum of the same days of the
    year over ten years or more, divided by the years.
    Returns: CountyNeed; where a day is missing the need of that county is NaN, its rank 0.
    Equation: need = sum (Kc ET0) - rain that entered; gross as in NEH 623 ch. 7.
    >>> from service.agronomy.records import SoilBatch, SystemBatch
    >>> one = np.array([1.0])
    >>> system = SystemBatch(
    ...     2.0 * one, 2.0 * one, 90.0 * one, *[one] * 6, 0.0 * one, *[one] * 10)
    >>> soil = SoilBatch(*[one] * 8, np.nan * one)
    >>> week = weekly_need(np.full((7, 1), 5.0), np.zeros((7, 1)), np.full((7, 1), 0.9),
    ...     soil=soil, system=system, normal_et0_mm=np.array([28.0]))
    >>> [round(float(x[0]), 2) for x in (week.net_need_mm, week.gross_need_mm, week.running_h)]
    [31.5, 35.0, 17.5]
    """
    crop_et_mm = crop_coefficient * et0_mm
    entering_mm = rain_entering_mm(rain_mm, et0_mm, soil)
    net_need_mm = np.zeros(et0_mm.shape[1])
    for day in range(et0_mm.shape[0]):
        net_need_mm = np.maximum(0.0, net_need_mm - entering_mm[day]) + crop_et_mm[day]
    total_crop_et_mm = crop_et_mm.sum(axis=0)
    gross_need_mm = gross_depth_mm(
        net_need_mm,
        system.emission_uniformity_pct,
        soil.root_share_of_wetted,
        transmission_ratio=system.transmission_ratio,
        leaching_fraction=system.leaching_fraction,
    )
    reference_et_mm = et0_mm.sum(axis=0)
    has_normal = normal_et0_mm > 0.0
    normal_mm = np.where(has_normal, normal_et0_mm, np.nan)
    return CountyNeed(
        reference_et_mm=reference_et_mm,
        crop_et_mm=total_crop_et_mm,
        rain_entering_mm=total_crop_et_mm - net_need_mm,
        net_need_mm=net_need_mm,
        gross_need_mm=gross_need_mm,
        running_h=running_min(gross_need_mm, system.application_rate_mm_per_h) / 60.0,
        percent_of_normal=100.0 * reference_et_mm / normal_mm,
        rank=_rank_from_largest(net_need_mm),
    )


def _rank_from_largest(values: Floats) -> Ints:
    is_known = np.isfinite(values)
    rising = np.sort(values[is_known])
    larger_count = rising.size - np.searchsorted(rising, values, side="right")
    rank: Ints = np.where(is_known, larger_count + 1, UNRANKED).astype(np.int64)
    return rank
