"""An invented region for benchmarks: farms with a supply each, blocks that differ, weather."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import CurveDefinition, WallWindow
from service.agronomy.soil import TextureGroup
from service.records.farms import (
    BlockDefinition,
    FarmBundle,
    FarmDefinition,
    SiteDefinition,
    SupplyDefinition,
)
from service.records.weather import WEATHER_FIELDS, WeatherRows

ZONE = "America/New_York"
ALL_DAY = (WallWindow(4 * 60, 21 * 60),)
CURVE = CurveDefinition(basis="days", season_start=(3, 20), stage_knots=(20.0, 70.0, 160.0, 230.0))


def invented_farms(
    block_count: int, site_count: int, *, blocks_per_farm: int, balance_start: date
) -> Iterator[FarmBundle]:
    """Farms of ``blocks_per_farm`` blocks each; every third supply is too small for a hot day."""
    rng = np.random.default_rng(7)
    sites = [
        SiteDefinition(
            site_id=f"site-{number:03d}",
            name=f"Invented site {number}",
            latitude_deg=float(33.0 + 4.0 * rng.random()),
            longitude_deg=float(-84.0 + 4.0 * rng.random()),
            elevation_m=float(50.0 + 300.0 * rng.random()),
            zone=ZONE,
        )
        for number in range(site_count)
    ]
    for farm in range(-(-block_count // blocks_per_farm)):
        farm_id = f"farm-{farm:05d}"
        count = min(blocks_per_farm, block_count - farm * blocks_per_farm)
        blocks = tuple(
            _block(farm_id, number, sites[farm % site_count].site_id, rng, balance_start)
            for number in range(count)
        )
        flow_l_per_h = sum(
            block.emitter_flow_l_per_h
            * block.area_m2
            / (block.row_spacing_m * block.emitter_spacing_m)
            for block in blocks
        )
        yield FarmBundle(
            farm=FarmDefinition(farm_id=farm_id, name=f"Invented farm {farm}", zone=ZONE),
            sites=(sites[farm % site_count],),
            supplies=(
                SupplyDefinition(
                    supply_id=f"{farm_id}.well",
                    farm_id=farm_id,
                    name="Invented well",
                    flow_l_per_h=flow_l_per_h * (0.18 if farm % 3 == 0 else 0.5),
                    windows=ALL_DAY,
                ),
            ),
            blocks=blocks,
        )


def _block(
    farm_id: str, number: int, site_id: str, rng: np.random.Generator, balance_start: date
) -> BlockDefinition:
    return BlockDefinition(
        block_id=f"{farm_id}.block-{number}",
        farm_id=farm_id,
        supply_id=f"{farm_id}.well",
        site_id=site_id,
        name=f"Invented block {number}",
        crop_key="blueberry",
        curve=CURVE,
        windows=ALL_DAY,
        balance_start=balance_start,
        area_m2=float(rng.integers(2_000, 20_000)),
        row_spacing_m=3.0,
        emitter_spacing_m=0.46,
        laterals_per_row_count=1.0,
        emitter_flow_l_per_h=2.0,
        emission_uniformity_pct=90.0,
        fill_time_min=3.0,
        longest_pulse_min=240.0,
        daily_maximum_min=1440.0,
        off_ratio=float(rng.choice([1.0, 2.0, 3.0])),
        valve_gap_s=30.0,
        leaching_fraction=0.0,
        leakage_fraction=0.0,
        transmission_ratio=1.0,
        daily_pulse_count=12.0,
        priority=5.0,
        news_fraction=0.1,
        news_depth_mm=0.5,
        ground_kc=0.15,
        trigger_fraction=0.7,
        rain_room_fraction=0.3,
        freeze_hold_c=0.0,
        watering_start_doy=1.0,
        watering_end_doy=365.0,
        field_capacity=0.18,
        wilting_point=0.08,
        saturated_conductivity_mm_per_h=50.0,
        texture_group=TextureGroup(1),
        curve_number=float("nan"),
        wetted_fraction=0.33,
        root_depth_m=float(rng.uniform(0.3, 0.6)),
        root_share_of_wetted=1.0,
        canopy_cover_fraction=0.6,
        canopy_height_m=1.5,
        planting_year=float("nan"),
        years_to_full_size=5.0,
        root_depth_is_scaled=False,
        root_share_is_scaled=False,
        canopy_is_scaled=False,
        canopy_height_is_scaled=False,
        mulch_cover_fraction=0.5,
        mulch_rain_pass_fraction=0.6,
        mulch_kc_initial=0.2,
        mulch_kc_reduction_fraction=0.15,
        kc_initial=0.3,
        kc_mid=1.05,
        kc_end=0.5,
        kc_off_season=0.2,
        table_height_m=1.5,
        reference_canopy_ratio=0.815,
        canopy_density_factor=1.5,
        depletion_fraction=0.5,
        initial_depletion_mm=float(rng.uniform(2.0, 8.0)),
    )


def invented_weather(
    site_keys: NDArray[np.int64], days: NDArray[np.datetime64], *, kind: str
) -> WeatherRows:
    """Warm, humid days with a shower now and then, different at each site."""
    rng = np.random.default_rng(11)
    count = site_keys.size * days.size
    tmin_c = rng.normal(20.0, 1.5, count)
    values = {
        "tmin_c": tmin_c,
        "tmax_c": tmin_c + rng.uniform(8.0, 13.0, count),
        "tdew_c": tmin_c - rng.uniform(0.0, 2.0, count),
        "wind_m_s": rng.uniform(1.0, 3.0, count),
        "rs_mj_m2": rng.uniform(14.0, 26.0, count),
        "rain_mm": np.where(rng.random(count) < 0.25, rng.exponential(7.0, count), 0.0),
    }
    if kind == "forecast":
        values["rain_probability_fraction"] = rng.uniform(0.0, 1.0, count)
    missing = np.full(count, np.nan)
    return WeatherRows(
        site_keys=np.repeat(site_keys, days.size),
        days=np.tile(days, site_keys.size),
        sources=("import",) * count,
        kinds=(kind,) * count,
        issued_at=(datetime(2026, 7, 14, 12, tzinfo=UTC),) * count,
        wind_height_m=np.full(count, 2.0),
        fields={name: values.get(name, missing) for name in WEATHER_FIELDS},
    )
