"""What the weather of some days means for each block: the days that ledger and plan are made of.

In: the weather of the sites by day, and the blocks. Out: :class:`CropDays`, with crop water use,
entering rain and root-zone store of every block, and the alley store where roots reach beyond the
wet strip.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch
from service.agronomy.crop_water_use import (
    SEASON_BY_DEGREE_DAYS,
    crop_coefficient,
    degree_day_sums,
)
from service.agronomy.dormancy import is_dormant
from service.agronomy.effective_rain import rain_entering_mm
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.root_zone import (
    depletion_fraction,
    readily_available_water_mm,
    total_available_water_mm,
)


@dataclass(frozen=True, slots=True)
class SiteDays:
    """Weather as the blocks' steps use it, arrays (days, sites)."""

    days: Days
    et0_mm: Floats
    rain_mm: Floats
    rain_probability_fraction: Floats
    """1 for rain that was measured."""
    tmax_c: Floats
    tmin_c: Floats
    climate_term: Floats
    """The part of FAO-56 Eq. 62 that the site's weather decides."""
    sunrise_min: Floats
    sunset_min: Floats


@dataclass(frozen=True, slots=True)
class CropDays:
    """What the weather of some days means for each block, arrays (days, blocks)."""

    crop_coefficient: Floats
    crop_et_mm: Floats
    """Kc ET0, before any stress."""
    rain_entering_mm: Floats
    """What the day's full rain would bring into the managed zone."""
    taw_mm: Floats
    raw_mm: Floats
    depletion_fraction: Floats
    degree_day_sum_c_day: Floats
    is_dormant: NDArray[np.bool_]
    """The day is outside the block's watering season."""


def crop_days(
    blocks: BlockBatch, weather: SiteDays, *, degree_day_start_c_day: Floats | None = None
) -> CropDays:
    """Crop water use, entering rain and root-zone store of every block on every day.

    Shapes: weather (days, sites); result (days, blocks).
    degree_day_start_c_day: (blocks,) sum at the end of the day before the first; not known when
    None.
    Returns: CropDays; NaN wherever the site's weather is NaN.
    Source: FAO-56 Eq. 58, 62, 66, 82, 83 and the canopy and rain rules of their modules.
    """
    at_site = blocks.site_index
    et0_mm = weather.et0_mm[:, at_site]
    degree_day_sum_c_day = _degree_days(blocks, weather, degree_day_start_c_day)
    coefficient = crop_coefficient(
        blocks.crop,
        days=weather.days,
        climate_term=weather.climate_term[:, at_site],
        degree_day_sum_c_day=degree_day_sum_c_day,
    )
    crop_et_mm = coefficient * et0_mm
    taw_mm = np.broadcast_to(total_available_water_mm(blocks.soil), crop_et_mm.shape)
    fraction = depletion_fraction(blocks.crop.depletion_fraction, crop_et_mm)
    return CropDays(
        crop_coefficient=coefficient,
        crop_et_mm=crop_et_mm,
        rain_entering_mm=rain_entering_mm(weather.rain_mm[:, at_site], et0_mm, blocks.soil),
        taw_mm=taw_mm,
        raw_mm=readily_available_water_mm(taw_mm, fraction),
        depletion_fraction=fraction,
        degree_day_sum_c_day=degree_day_sum_c_day,
        is_dormant=is_dormant(
            weather.days, blocks.system.watering_start_doy, blocks.system.watering_end_doy
        ),
    )


def _degree_days(blocks: BlockBatch, weather: SiteDays, start_c_day: Floats | None) -> Floats:
    """Degree-day sums; not computed at all where no block's stages follow them."""
    shape = (weather.days.size, blocks.site_index.size)
    if not np.any(blocks.crop.curve_basis == SEASON_BY_DEGREE_DAYS):
        return np.full(shape, np.nan)
    return degree_day_sums(
        blocks.crop,
        days=weather.days,
        tmax_c=weather.tmax_c[:, blocks.site_index],
        tmin_c=weather.tmin_c[:, blocks.site_index],
        degree_day_start_c_day=np.full(shape[1], np.nan) if start_c_day is None else start_c_day,
    )


def take_crop(crop: CropDays, blocks: Ints) -> CropDays:
    """The crop's days of some blocks (row numbers).

    Shapes: crop (days, blocks); result (days, rows).
    Returns: CropDays of those blocks.
    """
    return CropDays(
        **{field.name: getattr(crop, field.name)[:, blocks] for field in fields(CropDays)}
    )


def days_of(weather: SiteDays, first: int, last: int) -> SiteDays:
    """The weather of the days ``first`` up to, not including, ``last`` (row numbers).

    Shapes: weather (days, sites); result (last - first, sites).
    Returns: SiteDays of those days.
    """
    rows = slice(first, last)
    return SiteDays(
        **{field.name: getattr(weather, field.name)[rows] for field in fields(SiteDays)}
    )
