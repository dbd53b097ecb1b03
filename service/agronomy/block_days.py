"""What the weather of some days means for each block: the days that ledger and plan are made of.

In: the weather of the sites by day, and the blocks. Out: :class:`CropDays`, with crop water use,
entering rain and root-zone store of every block, and the alley store where roots reach beyond the
wet strip.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.alley_store import alley_capacity_mm, alley_day, alley_days
from service.agronomy.block_batch import BlockBatch
from service.agronomy.crop_water_use import (
    SEASON_BY_DEGREE_DAYS,
    crop_coefficient,
    degree_day_sums,
)
from service.agronomy.dormancy import is_dormant
from service.agronomy.effective_rain import effective_rain_mm, rain_entering_mm
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.root_zone import (
    depletion_fraction,
    readily_available_water_mm,
    total_available_water_mm,
)
from service.agronomy.watering_rules import credited_rain_mm

ALLEY_TERMS = (
    "alley_rain_mm",
    "alley_capacity_mm",
    "alley_drainage_mm",
    "alley_et_mm",
    "alley_store_mm",
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
    alley_rain_mm: Floats
    """What rain brings into the rooted ground outside the wet strip."""
    alley_capacity_mm: Floats
    """What that ground can hold for the crop; 0 where the crop has no roots there."""
    alley_drainage_mm: Floats
    alley_et_mm: Floats
    """The part of the crop's water use that comes from there."""
    alley_store_mm: Floats
    """What is left there at the end of the day."""

    @property
    def zone_et_mm(self) -> Floats:
        """What the crop asks of the managed zone: its water use without that from the alley."""
        return self.crop_et_mm - self.alley_et_mm

    @property
    def alley_start_mm(self) -> Floats:
        """What the alley holds at the start of each day."""
        used_mm = self.alley_store_mm + self.alley_et_mm + self.alley_drainage_mm
        return np.maximum(0.0, used_mm - self.alley_rain_mm)

    @property
    def has_alley(self) -> NDArray[np.bool_]:
        """(blocks,) whether the crop has roots outside the wet strip on any of the days."""
        return np.asarray((self.alley_capacity_mm > 0.0).any(axis=0))


def crop_days(
    blocks: BlockBatch, weather: SiteDays, *, degree_day_start_c_day: Floats | None = None
) -> CropDays:
    """Crop water use, entering rain and root-zone store of every block on every day.

    Shapes: weather (days, sites); result (days, blocks).
    degree_day_start_c_day: (blocks,) sum at the end of the day before the first; not known when
    None.
    Returns: CropDays; NaN wherever the site's weather is NaN. Nothing is taken from the alley yet;
    see :func:`with_alley`.
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
    rain_mm = weather.rain_mm[:, at_site]
    return CropDays(
        crop_coefficient=coefficient,
        crop_et_mm=crop_et_mm,
        rain_entering_mm=rain_entering_mm(rain_mm, et0_mm, blocks.soil),
        taw_mm=taw_mm,
        raw_mm=readily_available_water_mm(taw_mm, fraction),
        depletion_fraction=fraction,
        degree_day_sum_c_day=degree_day_sum_c_day,
        is_dormant=is_dormant(
            weather.days, blocks.system.watering_start_doy, blocks.system.watering_end_doy
        ),
        **_alley_terms(blocks, rain_mm, et0_mm),
    )


def _alley_terms(blocks: BlockBatch, rain_mm: Floats, et0_mm: Floats) -> dict[str, Floats]:
    """Rain and capacity of the alley, and nothing taken from it; (days, blocks) each."""
    nothing = np.zeros(rain_mm.shape)
    terms = dict.fromkeys(ALLEY_TERMS, nothing)
    if np.any(blocks.alley_share > 0.0):
        # A day of unknown rain must not touch the blocks without roots there.
        entering_mm = effective_rain_mm(rain_mm, et0_mm, blocks.soil) * blocks.alley_share
        capacity_mm = alley_capacity_mm(
            blocks.soil, blocks.alley_share, blocks.crop.depletion_fraction
        )
        has_roots = blocks.alley_share > 0.0
        terms["alley_rain_mm"] = np.where(has_roots, entering_mm, 0.0)
        terms["alley_capacity_mm"] = np.broadcast_to(
            np.where(has_roots, capacity_mm, 0.0), rain_mm.shape
        )
    return terms


def past_crop_days(
    blocks: BlockBatch,
    weather: SiteDays,
    degree_day_start_c_day: Floats | None,
    alley_store_start_mm: Floats | None,
) -> CropDays:
    """The crop's days of past weather, in which the alley gets all the rain that fell.

    Shapes: weather (days, sites); degree days and store (blocks,), both before the first day.
    Returns: CropDays of :func:`crop_days` and :func:`with_alley`.
    """
    crop = crop_days(blocks, weather, degree_day_start_c_day=degree_day_start_c_day)
    return with_alley(crop, alley_store_start_mm, rain_mm=crop.alley_rain_mm)


def expected_crop_days(
    blocks: BlockBatch,
    weather: SiteDays,
    *,
    degree_day_start_c_day: Floats,
    alley_store_start_mm: Floats,
) -> CropDays:
    """The crop's days of a forecast, in which the alley gets the rain that is counted on.

    Shapes: weather (days, sites); degree days and store (blocks,), both before the first day.
    Returns: CropDays of :func:`crop_days` and :func:`with_alley`.
    Source: likely rain counts as in the plan, see :mod:`service.agronomy.watering_rules`.
    """
    crop = crop_days(blocks, weather, degree_day_start_c_day=degree_day_start_c_day)
    chance = weather.rain_probability_fraction[:, blocks.site_index]
    counted_mm = credited_rain_mm(crop.alley_rain_mm, chance)
    return with_alley(crop, alley_store_start_mm, rain_mm=counted_mm)


def with_alley(crop: CropDays, store_start_mm: Floats | None, *, rain_mm: Floats) -> CropDays:
    """The crop's days with what the crop takes from the alley store, which empties first.

    Shapes: crop and rain_mm (days, blocks).
    store_start_mm: what the store holds before the first day, (blocks,), each day then starting
    where the one before ended; or before each day, (days, blocks). Empty when None or NaN.
    rain_mm: rain that enters the alley, as fallen or as far as it is counted on.
    Returns: CropDays; as it was where no block has roots in the alley.
    Equation: that of :func:`service.agronomy.alley_store.alley_day`.
    """
    if not np.any(crop.alley_capacity_mm > 0.0):
        return crop
    has_alley = crop.has_alley
    start_mm = np.nan_to_num(
        np.zeros(has_alley.shape) if store_start_mm is None else store_start_mm
    )
    step = alley_days if start_mm.ndim == 1 else alley_day
    drainage_mm, et_mm, store_mm = step(
        start_mm, rain_mm=rain_mm, crop_et_mm=crop.crop_et_mm, capacity_mm=crop.alley_capacity_mm
    )
    return replace(
        crop,
        alley_rain_mm=rain_mm,
        alley_drainage_mm=np.where(has_alley, drainage_mm, 0.0),
        alley_et_mm=np.where(has_alley, et_mm, 0.0),
        alley_store_mm=np.where(has_alley, store_mm, 0.0),
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
