"""How the crop coefficient of one day is made, step by step, as a plan explains it.

In: the crop batch, one day, and how far each season has come. Out: the stage, the values between
the published Kc and the one that was used (:func:`service.agronomy.crop_water_use.crop_coefficient`
makes the same steps for many days at once). FAO-56 (Allen et al. 1998) chapter 6, Eq. 62, 65, 66;
Allen & Pereira 2009 (second-hand) for the canopy.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_water_use import (
    SEASON_BY_DEGREE_DAYS,
    SEASON_BY_OWN_TABLE,
    canopy_share,
    season_progress,
    stages_of,
)
from service.agronomy.records import CropBatch, Days, Floats


class KcStage(enum.IntEnum):
    """Where in its season a block is; stored with each plan."""

    INITIAL = 0
    DEVELOPMENT = 1
    MID_SEASON = 2
    LATE_SEASON = 3
    OFF_SEASON = 4
    OWN_TABLE = 5
    """The block has Kc by day of the year instead of stages."""


@dataclass(frozen=True, slots=True)
class CoefficientSteps:
    """The way to the crop coefficient of one day, arrays (blocks,)."""

    kc_stage: Floats
    """Codes of :class:`KcStage`."""
    season_basis: Floats
    """As the batch's curve basis: 0 days since the season's start, 1 degree days, 2 own table."""
    season_progress: Floats
    initial_stage_end: Floats
    development_end: Floats
    mid_season_end: Floats
    late_season_end: Floats
    kc_initial_adjusted: Floats
    """Kc of the initial stage under the block's mulch."""
    kc_mid_adjusted: Floats
    """Kc of the mid stage in the site's climate and under the mulch."""
    kc_end_adjusted: Floats
    kc_of_stage: Floats
    """Before the canopy."""
    bare_ground_kc: Floats
    """Without leaves."""
    canopy_density_ratio: Floats
    """Kd."""
    canopy_ratio: Floats
    """Kd over that of the canopy that the published Kc hold for, at most 1."""


def coefficient_steps(
    crop: CropBatch,
    *,
    days: Days,
    climate_term: Floats,
    degree_day_sum_c_day: Floats | None = None,
) -> CoefficientSteps:
    """The steps to every block's crop coefficient on one day.

    Shapes: days (1,); climate_term and degree_day_sum_c_day (1, blocks).
    Returns: CoefficientSteps; NaN where an input is not known.
    Source: FAO-56 Eq. 62, 65, 66.
    """
    day = season_progress(crop, days, degree_day_sum_c_day)[0]
    stages = stages_of(crop)
    kc_mid, kc_end = stages.adjusted(crop, climate_term[0])
    initial_end, development_end, mid_end, late_end = crop.stage_knot.T
    stage = np.select(
        [
            crop.curve_basis == SEASON_BY_OWN_TABLE,
            day > stages.season_end,
            day <= initial_end,
            day < development_end,
            day <= mid_end,
        ],
        [
            KcStage.OWN_TABLE,
            KcStage.OFF_SEASON,
            KcStage.INITIAL,
            KcStage.DEVELOPMENT,
            KcStage.MID_SEASON,
        ],
        default=KcStage.LATE_SEASON,
    ).astype(np.float64)
    is_unknown = np.isnan(day) & (crop.curve_basis == SEASON_BY_DEGREE_DAYS)
    return CoefficientSteps(
        kc_stage=np.where(is_unknown, np.nan, stage),
        season_basis=crop.curve_basis.astype(np.float64),
        season_progress=day,
        initial_stage_end=initial_end,
        development_end=development_end,
        mid_season_end=mid_end,
        late_season_end=late_end,
        kc_initial_adjusted=stages.kc_initial,
        kc_mid_adjusted=kc_mid,
        kc_end_adjusted=kc_end,
        kc_of_stage=stages.coefficient(crop, day, climate_term[0]),
        bare_ground_kc=stages.bare_ground_kc,
        canopy_density_ratio=density_coefficient(
            crop.canopy_cover_fraction, crop.canopy_height_m, ml=crop.canopy_density_factor
        ),
        canopy_ratio=canopy_share(crop),
    )
