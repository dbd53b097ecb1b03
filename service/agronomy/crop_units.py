"""The part of the nomenclature that is about the crop, its canopy and its mulch.

In: nothing. Out: :data:`CROP_NAMES`, one line for each name, as in :mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.learning_units import LEARNING_GROUP
from service.agronomy.quantity import Quantity

CROP_NAMES = (
    Quantity("height_m", "m", 0.01, 30, "height of a crop or canopy"),
    Quantity("canopy_height_m", "m", 0.01, 30, "height of the block's canopy"),
    Quantity("table_height_m", "m", 0.01, 30, "height that the Kc of the crop table stand for"),
    Quantity("reference_height_m", "m", 0.01, 30, "height of the canopy that they stand for"),
    Quantity("cover_fraction", "1", 0, 1, "share of the ground under the canopy"),
    Quantity("effective_cover_fraction", "1", 0, 1, "share of the ground shaded at noon"),
    Quantity("canopy_cover_fraction", "1", 0, 1, "effective cover of the block at full leaf"),
    Quantity("full_cover_fraction", "1", 0, 1, "cover that a measured canopy grows to"),
    Quantity("full_height_m", "m", 0.01, 30, "height that a measured canopy grows to"),
    Quantity("canopy_measured_year", "a", 1900, 2200, "when a canopy was measured"),
    Quantity(
        "reference_cover_fraction", "1", 0, 1, "effective cover that the table's Kc stand for"
    ),
    Quantity("reference_canopy_ratio", "1", 0, 1, "density coefficient Kd of that canopy"),
    Quantity("canopy_density_ratio", "1", 0, 1, "density coefficient Kd of the block's canopy"),
    Quantity("canopy_ratio", "1", 0, 1, "Kd of the block over that of the table, at most 1"),
    Quantity("mulch_cover_fraction", "1", 0, 1, "share of the wetted strip under a mulch"),
    Quantity("interval_day", "d", 0, inf, "days between waterings"),
    Quantity("mulch_kc_reduction_fraction", "1", 0, 0.5, "taken off the later Kc by such a mulch"),
    Quantity("depletion_fraction", "1", 0, 1, "p: share of TAW that is taken without stress"),
    Quantity("table_fraction", "1", 0, 1, "p as the crop table has it, at 5 mm/d"),
    Quantity("table_depletion_fraction", "1", 0, 1, "the same, as stored with a plan"),
    Quantity("degree_day_floor_c", "degC", -10, 30, "temperature above which degree days count"),
    Quantity("degree_day_sum_c_day", "degC d", 0, 12_000, "degree days since the season start"),
    Quantity("degree_day_start_c_day", "degC d", 0, 12_000, "that sum before the first day given"),
    Quantity("crop_et_mm", "mm", 0, 25, "Kc ET0 of a day, without stress"),
    Quantity("actual_crop_et_mm", "mm", 0, 25, "crop ET of a day, less what stress holds back"),
    Quantity("alley_root_fraction", "1", 0, 1, "share of the ground off the wet strip with roots"),
    Quantity("alley_capacity_mm", "mm", 0, 1000, "readily available water that it can hold"),
    Quantity("alley_start_mm", "mm", 0, 1000, "rain stored there at the start of a day"),
    Quantity("alley_store_mm", "mm", 0, 1000, "rain stored there at the end of a day"),
    Quantity("alley_store_start_mm", "mm", 0, 1000, "rain stored there before the first day given"),
    Quantity("alley_rain_mm", "mm", 0, 1000, "rain that enters there"),
    Quantity("alley_drainage_mm", "mm", 0, 1000, "rain that the store has no room for"),
    Quantity("alley_et_mm", "mm", 0, 25, "crop ET of a day that comes from there"),
    Quantity("elsewhere_et_mm", "mm", 0, 25, "crop ET of a day from outside the managed zone"),
    Quantity("store_start_mm", "mm", 0, 1000, "what a store holds before the first day given"),
    Quantity("store_mm", "mm", 0, 1000, "what a store holds at the end of a day"),
    Quantity("capacity_mm", "mm", 0, 1000, "what a store can hold"),
    Quantity("stress_ratio", "1", 0, 1, "mean Ks of the day: 1 without stress, 0 at wilting"),
    Quantity("salinity_threshold_ds_m", "dS/m", 0, 20, "ECe above which yield falls"),
    Quantity("salinity_slope_pct_per_ds_m", "%/(dS/m)", 0, 100, "yield lost per dS/m above it"),
    *LEARNING_GROUP,
)
