"""Blocks as the daily plan sees them: stored numbers of many blocks as one season's batches.

In goes one array per stored number and the crop curves; out come :class:`CropBatch`,
:class:`SoilBatch` and :class:`SystemBatch`, with roots, rooted share and canopy grown to the size
that the planting has in that year (science: roots and canopy are constant within a season).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from service.agronomy.alley_store import alley_share
from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_water_use import BARE_SOIL_KC
from service.agronomy.records import (
    CropBatch,
    CurveDefinition,
    Floats,
    Ints,
    SoilBatch,
    SystemBatch,
)
from service.agronomy.root_zone import (
    SizeShares,
    application_rate_mm_per_h,
    grown_from_measured,
    size_by_age,
)

BASIS_CODES: Mapping[str, int] = {"days": 0, "degree-days": 1, "table": 2}
Batch = TypeVar("Batch", CropBatch, SoilBatch, SystemBatch)
MIDDLE_PRIORITY = 5
"""[CHOICE] Rank of a block that has none of its own, so that others can go before or after it."""
_REFERENCE_YEAR = 2023  # any non-leap year: days are numbered as in a year of 365


@dataclass(frozen=True, slots=True)
class BlockBatch:
    """All that the plan needs to know of the blocks of one run, arrays (blocks,)."""

    crop: CropBatch
    soil: SoilBatch
    system: SystemBatch
    site_index: Ints
    """Column of each block's site in the weather arrays."""
    area_m2: Floats
    initial_depletion_mm: Floats
    """NaN where the grower gave none."""
    alley_share: Floats
    """Share of the ground outside the wet strip that the crop has roots in, of the whole ground."""


def day_of_year(month: int, day: int) -> int:
    """Day of the year, 1 to 365, of a calendar date; 29 February counts as the 28th.

    Shapes: scalars.
    Returns: day of a year of 365 days.
    >>> day_of_year(3, 1), day_of_year(12, 31)
    (60, 365)
    """
    return date(_REFERENCE_YEAR, month, min(day, 28) if month == 2 else day).timetuple().tm_yday


def month_and_day(doy: int) -> tuple[int, int]:
    """The calendar date of a day of a year of 365 days.

    Shapes: scalar.
    Returns: month and day.
    >>> month_and_day(60), month_and_day(365)
    ((3, 1), (12, 31))
    """
    found = date.fromordinal(date(_REFERENCE_YEAR, 1, 1).toordinal() + doy - 1)
    return found.month, found.day


def make_block_batch(
    numbers: Mapping[str, Floats],
    curves: Sequence[CurveDefinition],
    *,
    site_index: Ints,
    supply_index: Ints,
    season_year: int,
) -> BlockBatch:
    """Blocks at the size they have in one season.

    Shapes: every number (blocks,); one curve per block (equal curves may be one object).
    season_year: calendar year whose plant size counts.
    Returns: a BlockBatch; NaN numbers stay NaN.
    Source: growth with age is [CHOICE], see :func:`service.agronomy.root_zone.size_by_age`.
    """
    depth_share, root_share, canopy_share = _shares_of_full_size(numbers, season_year)
    root_depth_m = numbers["root_depth_m"] * np.where(
        numbers["root_depth_is_scaled"] > 0, depth_share, 1.0
    )
    # A live cover between young plants roots the wet strip that their own roots do not reach.
    root_share = np.where(numbers["ground_kc"] > BARE_SOIL_KC, 1.0, root_share)
    root_share_of_wetted = numbers["root_share_of_wetted"] * np.where(
        numbers["root_share_is_scaled"] > 0, root_share, 1.0
    )
    return BlockBatch(
        crop=_crop_batch(numbers, curves, season_year),
        soil=SoilBatch(
            field_capacity=numbers["field_capacity"],
            wilting_point=numbers["wilting_point"],
            saturated_conductivity_mm_per_h=numbers["saturated_conductivity_mm_per_h"],
            root_depth_m=root_depth_m,
            wetted_fraction=numbers["wetted_fraction"],
            root_share_of_wetted=root_share_of_wetted,
            mulch_cover_fraction=numbers["mulch_cover_fraction"],
            mulch_rain_pass_fraction=numbers["mulch_rain_pass_fraction"],
            curve_number=numbers["curve_number"],
        ),
        system=_system_batch(numbers, supply_index),
        site_index=site_index,
        area_m2=numbers["area_m2"],
        initial_depletion_mm=numbers["initial_depletion_mm"],
        alley_share=alley_share(
            numbers["alley_root_fraction"], numbers["wetted_fraction"], canopy_share
        ),
    )


def take_rows(batch: Batch, rows: Ints) -> Batch:
    """A record of arrays over blocks, reduced to the given rows and in their order.

    Shapes: every field (blocks, ...); rows (some blocks,), row numbers.
    Returns: a record of the same kind.
    """
    return type(batch)(**{part.name: getattr(batch, part.name)[rows] for part in fields(batch)})


def take_blocks(batch: BlockBatch, rows: Ints) -> BlockBatch:
    """The batch reduced to the given blocks, in the order of ``rows``.

    Shapes: rows (some blocks,), row numbers.
    Returns: the batch of those blocks.
    """
    return BlockBatch(
        crop=take_rows(batch.crop, rows),
        soil=take_rows(batch.soil, rows),
        system=take_rows(batch.system, rows),
        site_index=batch.site_index[rows],
        area_m2=batch.area_m2[rows],
        initial_depletion_mm=batch.initial_depletion_mm[rows],
        alley_share=batch.alley_share[rows],
    )


def young_canopy_is_full(
    crop: CropBatch, numbers: Mapping[str, Floats], *, season_year: int
) -> NDArray[np.bool_]:
    """Where plants below full age have the canopy that the crop's coefficients hold for.

    Shapes: crop, every number and the result (blocks,).
    season_year: calendar year whose plant size counts.
    Returns: whether Kd reaches that of the reference canopy; False where the age is not known.
    Equation: Kd >= Kd_ref while age < years to full size. Allen & Pereira 2009 (second-hand).
    """
    density = density_coefficient(
        crop.canopy_cover_fraction, crop.canopy_height_m, ml=crop.canopy_density_factor
    )
    is_young = season_year - numbers["planting_year"] < numbers["years_to_full_size"]
    is_full: NDArray[np.bool_] = is_young & (density >= crop.reference_canopy_ratio)
    return is_full


def canopy_size(numbers: Mapping[str, Floats], season_year: int) -> tuple[Floats, Floats]:
    """Cover and height that plantings have in one season.

    Shapes: every number and both results (blocks,).
    season_year: calendar year whose plant size counts.
    Returns: cover [-] and height [m]: full-size defaults grow with age, values of this year stay,
    and measured ones with a date grow from there to full size.
    Source: [CHOICE], see :func:`service.agronomy.root_zone.grown_from_measured`.
    """
    share = _shares_of_full_size(numbers, season_year).canopy_share
    measured_year = np.floor(numbers["canopy_measured_year"])
    measured_share = _shares_of_full_size(numbers, measured_year).canopy_share

    def size(name: str, full_name: str, is_scaled: str) -> Floats:
        given = numbers[name]
        grown = grown_from_measured(
            given, numbers[full_name], measured_share=measured_share, share=share
        )
        kept = np.where(np.isnan(grown), given, grown)
        return np.where(numbers[is_scaled] > 0, given * share, kept)

    return (
        size("canopy_cover_fraction", "full_cover_fraction", "canopy_is_scaled"),
        size("canopy_height_m", "full_height_m", "canopy_height_is_scaled"),
    )


def _shares_of_full_size(numbers: Mapping[str, Floats], season_year: Floats | int) -> SizeShares:
    planting_year = numbers["planting_year"]
    is_grown = np.isnan(planting_year)
    age_years = np.where(is_grown, numbers["years_to_full_size"], season_year - planting_year)
    return size_by_age(np.maximum(age_years, 0.0), numbers["years_to_full_size"])


def _crop_batch(
    numbers: Mapping[str, Floats], curves: Sequence[CurveDefinition], season_year: int
) -> CropBatch:
    cover, height_m = canopy_size(numbers, season_year)
    distinct: dict[int, int] = {}
    shapes: list[CurveDefinition] = []
    which = np.empty(len(curves), dtype=np.int64)
    for row, curve in enumerate(curves):
        index = distinct.setdefault(id(curve), len(shapes))
        if index == len(shapes):
            shapes.append(curve)
        which[row] = index
    point_count = max((len(shape.points) for shape in shapes), default=0) or 1
    basis = np.array([BASIS_CODES[shape.basis] for shape in shapes], dtype=np.int64)
    start = np.array([day_of_year(*shape.season_start) for shape in shapes], dtype=np.int64)
    knots = np.full((len(shapes), 4), np.nan)
    floor_c = np.full(len(shapes), np.nan)
    table_doy = np.full((len(shapes), point_count), np.nan)
    table_value = np.full((len(shapes), point_count), np.nan)
    for index, shape in enumerate(shapes):
        if shape.stage_knots:
            knots[index] = shape.stage_knots
        if shape.degree_day_floor_c is not None:
            floor_c[index] = shape.degree_day_floor_c
        points = sorted((day_of_year(month, day), kc) for month, day, kc in shape.points)
        for place, (doy, kc) in enumerate(points):
            table_doy[index, place] = doy
            table_value[index, place] = kc
    return CropBatch(
        kc_initial=numbers["kc_initial"],
        kc_mid=numbers["kc_mid"],
        kc_end=numbers["kc_end"],
        kc_off_season=numbers["kc_off_season"],
        table_height_m=numbers["table_height_m"],
        reference_canopy_ratio=numbers["reference_canopy_ratio"],
        canopy_density_factor=numbers["canopy_density_factor"],
        canopy_cover_fraction=cover,
        canopy_height_m=height_m,
        mulch_cover_fraction=numbers["mulch_cover_fraction"],
        mulch_kc_initial=numbers["mulch_kc_initial"],
        mulch_kc_reduction_fraction=numbers["mulch_kc_reduction_fraction"],
        depletion_fraction=numbers["depletion_fraction"],
        curve_basis=basis[which],
        season_start_doy=start[which],
        stage_knot=knots[which],
        degree_day_floor_c=floor_c[which],
        kc_table_doy=table_doy[which],
        kc_table_value=table_value[which],
        ground_kc=np.where(np.isnan(numbers["ground_kc"]), BARE_SOIL_KC, numbers["ground_kc"]),
    )


def _system_batch(numbers: Mapping[str, Floats], supply_index: Ints) -> SystemBatch:
    rate_mm_per_h = application_rate_mm_per_h(
        numbers["emitter_flow_l_per_h"],
        numbers["emitter_spacing_m"],
        numbers["row_spacing_m"],
        laterals_per_row_count=numbers["laterals_per_row_count"],
    )
    return SystemBatch(
        application_rate_mm_per_h=rate_mm_per_h,
        emitter_flow_l_per_h=numbers["emitter_flow_l_per_h"],
        emission_uniformity_pct=numbers["emission_uniformity_pct"],
        flow_l_per_h=rate_mm_per_h * numbers["area_m2"],
        fill_time_min=numbers["fill_time_min"],
        grower_longest_pulse_min=numbers["longest_pulse_min"],
        daily_maximum_min=numbers["daily_maximum_min"],
        off_ratio=numbers["off_ratio"],
        valve_gap_s=numbers["valve_gap_s"],
        leaching_fraction=numbers["leaching_fraction"],
        transmission_ratio=numbers["transmission_ratio"],
        trigger_fraction=numbers["trigger_fraction"],
        rain_room_fraction=numbers["rain_room_fraction"],
        freeze_hold_c=numbers["freeze_hold_c"],
        watering_start_doy=numbers["watering_start_doy"],
        watering_end_doy=numbers["watering_end_doy"],
        supply_index=supply_index,
        daily_pulse_count=np.where(
            np.isnan(numbers["daily_pulse_count"]), np.inf, numbers["daily_pulse_count"]
        ),
        leakage_fraction=np.nan_to_num(numbers["leakage_fraction"]),
        priority=np.where(
            np.isnan(numbers["priority"]), MIDDLE_PRIORITY, numbers["priority"]
        ).astype(np.int64),
    )
