"""Invented blocks and synthetic rain for a whole season of real typical weather.

The weather is the typical year of Greensboro NC (see ``tmy_years``), whose rain cannot be used.
The rain below is SYNTHETIC: made by a random generator with a fixed seed to about 1,100 mm a year,
on days that have nothing to do with the weather of those days. The blocks are invented.
"""

from __future__ import annotations

from datetime import date, datetime, time
from functools import cache

import numpy as np

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_file import CropRow
from service.agronomy.crop_table import CROPS
from service.agronomy.records import CurveDefinition, Floats, NoWaterPeriod, WallWindow
from service.operations.review.hindcast import Hindcast, hindcast
from service.records.farms import BlockDefinition, FarmBundle
from tests.factories import daily_fields, make_block, make_bundle, make_site, make_supply
from tests.validation.tmy_years import WIND_SENSOR_HEIGHT_M, read_tmy_year

FIRST_DAY, LAST_DAY = date(2023, 4, 1), date(2023, 10, 31)
OUTAGE = NoWaterPeriod(
    datetime.combine(date(2023, 7, 10), time()),
    datetime.combine(date(2023, 7, 14), time()),
    "pump repair",
)
RAIN_SEED = 20230401
RAIN_MM_PER_YEAR = 1100.0
WET_DAY_PROBABILITY = 0.3
SCENARIOS = ("dry", "rain", "rain with forecast errors")


@cache
def synthetic_rain_mm() -> Floats:
    """SYNTHETIC rain of 365 days: wet or dry at random, depths exponential, scaled to the year."""
    dice = np.random.default_rng(RAIN_SEED)
    is_wet = dice.random(365) < WET_DAY_PROBABILITY
    depth_mm = np.where(is_wet, dice.exponential(1.0, 365), 0.0)
    scaled: Floats = depth_mm * (RAIN_MM_PER_YEAR / depth_mm.sum())
    return scaled


def crop_numbers(row: CropRow) -> dict[str, float]:
    """The numbers of a block that come from a row of the crop table, at full size."""
    return {
        "kc_initial": row.kc_initial,
        "kc_mid": row.kc_mid,
        "kc_end": row.kc_end,
        "kc_off_season": row.kc_off_season,
        "table_height_m": row.height_m,
        "reference_canopy_ratio": float(
            density_coefficient(
                row.reference_cover_fraction, row.reference_height_m, ml=row.canopy_density_factor
            )
        ),
        "canopy_density_factor": row.canopy_density_factor,
        "ground_kc": row.ground_kc,
        "depletion_fraction": row.depletion_fraction,
        "canopy_cover_fraction": row.reference_cover_fraction,
        "canopy_height_m": row.reference_height_m,
        "years_to_full_size": float(row.years_to_full_size),
    }


LOAMY_SAND = {
    "field_capacity": 0.14,
    "wilting_point": 0.07,
    "saturated_conductivity_mm_per_h": 97.0,
    "texture_group": 0.0,
    "off_ratio": 1.0,
    "root_depth_m": 0.30,
}
# With this cover Kc in mid-season is about 0.92 (FAO-56 Table 12 gives 1.05 for a full canopy).
BERRY = {"canopy_cover_fraction": 0.47, "canopy_height_m": 1.5}


def season_blocks() -> tuple[BlockDefinition, ...]:
    """The blocks of the season; those on their own supply share it with nobody."""
    wine, strawberry = CROPS["grape-wine"], CROPS["strawberry"]
    return (
        make_block("berry", **BERRY),
        make_block("loamy-sand", **BERRY, **LOAMY_SAND),
        make_block(
            "second-year",
            canopy_cover_fraction=0.5,
            root_depth_m=0.45,
            planting_year=2021.0,
            root_depth_is_scaled=True,
            root_share_is_scaled=True,
            canopy_is_scaled=True,
            canopy_height_is_scaled=True,
        ),
        make_block(
            "wine",
            **crop_numbers(wine) | {"canopy_cover_fraction": 0.36},
            crop_key="grape-wine",
            curve=CurveDefinition(
                basis="days", season_start=(4, 1), stage_knots=(30.0, 90.0, 130.0, 210.0)
            ),
            emitter_spacing_m=1.0,
            laterals_per_row_count=1.0,
            field_capacity=0.34,
            wilting_point=0.20,
            saturated_conductivity_mm_per_h=4.3,
            texture_group=2.0,
            off_ratio=3.0,
            root_depth_m=1.0,
            wetted_fraction=0.4,
        ),
        make_block(
            "strawberry",
            **crop_numbers(strawberry) | {"canopy_cover_fraction": 0.4},
            crop_key="strawberry",
            curve=CurveDefinition(
                basis="days", season_start=(3, 15), stage_knots=(20.0, 60.0, 200.0, 231.0)
            ),
            row_spacing_m=1.5,
            emitter_spacing_m=0.30,
            emitter_flow_l_per_h=1.0,
            laterals_per_row_count=1.0,
            field_capacity=0.12,
            wilting_point=0.045,
            saturated_conductivity_mm_per_h=108.0,
            texture_group=0.0,
            off_ratio=1.0,
            root_depth_m=0.2,
            wetted_fraction=0.2,
            mulch_cover_fraction=1.0,
            mulch_rain_pass_fraction=0.3,
            mulch_kc_initial=0.10,
            mulch_kc_reduction_fraction=0.30,
        ),
        make_block(
            "night-only",
            **BERRY,
            **LOAMY_SAND,
            windows=(WallWindow(0, 5 * 60), WallWindow(22 * 60, 24 * 60)),
        ),
        make_block("slow-filling", **BERRY, **LOAMY_SAND | {"fill_time_min": 25.0}),
        make_block("outage", **BERRY, no_water=(OUTAGE,)),
        make_block("spring-one", **BERRY, supply_id="spring"),
        make_block("spring-two", **BERRY, supply_id="spring", valve_gap_s=60.0),
        make_block("spring-three", **BERRY, supply_id="spring"),
    )


def season_farm() -> FarmBundle:
    """All blocks; three of them share a spring that carries one block at a time, 5 h a day."""
    year = read_tmy_year("greensboro")
    site = make_site(
        latitude_deg=year.latitude_deg,
        longitude_deg=year.longitude_deg,
        elevation_m=year.elevation_m,
        wind_height_m=WIND_SENSOR_HEIGHT_M,
    )
    spring = make_supply("spring", flow_l_per_h=12000.0, windows=(WallWindow(240, 540),))
    return make_bundle(*season_blocks(), sites=[site], supplies=[make_supply(), spring])


@cache
def season(scenario: str) -> Hindcast:
    """One scenario's season, run once and then remembered."""
    raw = read_tmy_year("greensboro").raw
    rain_mm = np.zeros(365) if scenario == "dry" else synthetic_rain_mm()
    return hindcast(
        season_farm(),
        raw.days,
        {**daily_fields(raw), "rain_mm": rain_mm},
        first_day=FIRST_DAY,
        last_day=LAST_DAY,
        forecast_error="yesterday" if scenario.endswith("errors") else "none",
    )
