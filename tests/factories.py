"""Farms, blocks and weather for tests; every value here is invented unless a source is given.

Each function makes one ordinary thing and takes the values in which a test wants it to differ.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np

from service.agronomy.block_batch import BlockBatch, make_block_batch
from service.agronomy.block_days import SiteDays
from service.agronomy.records import CurveDefinition, Days, Floats, WallWindow, WindowBatch
from service.agronomy.site_weather import SiteWeather, site_weather
from service.agronomy.weather_day import RawWeather
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import (
    BlockDefinition,
    FarmBundle,
    FarmDefinition,
    SiteDefinition,
    SupplyDefinition,
    number_columns,
)
from service.records.weather import WEATHER_FIELDS, WeatherRows

FARM_ID = "brook"
ZONE = "America/New_York"
DAY_WINDOW = (WallWindow(4 * 60, 21 * 60),)
WHOLE_DAY = (WallWindow(0, 24 * 60),)
BERRY_CURVE = CurveDefinition(
    basis="days", season_start=(3, 20), stage_knots=(30.0, 80.0, 200.0, 230.0)
)
ORDINARY_NUMBERS: Mapping[str, float] = {
    "area_m2": 4000.0,
    "row_spacing_m": 3.0,
    "emitter_spacing_m": 0.46,
    "laterals_per_row_count": 2.0,
    "emitter_flow_l_per_h": 2.0,
    "emission_uniformity_pct": 90.0,
    "fill_time_min": 3.0,
    "longest_pulse_min": 240.0,
    "daily_maximum_min": 1440.0,
    "daily_pulse_count": 12.0,
    "priority": 5.0,
    "news_fraction": 0.1,
    "news_depth_mm": 0.5,
    "ground_kc": 0.15,
    "off_ratio": 2.0,
    "valve_gap_s": 0.0,
    "leaching_fraction": 0.0,
    "leakage_fraction": 0.0,
    "transmission_ratio": 1.0,
    "trigger_fraction": 0.7,
    "rain_room_fraction": 0.3,
    "alley_root_fraction": 0.0,
    "freeze_hold_c": 0.0,
    "watering_start_doy": 1.0,
    "watering_end_doy": 365.0,
    "field_capacity": 0.18,
    "wilting_point": 0.08,
    "saturated_conductivity_mm_per_h": 50.3,
    "texture_group": 1.0,
    "curve_number": np.nan,
    "wetted_fraction": 0.33,
    "root_depth_m": 0.45,
    "root_share_of_wetted": 1.0,
    "canopy_cover_fraction": 0.6,
    "canopy_height_m": 1.5,
    "planting_year": np.nan,
    "years_to_full_size": 5.0,
    "root_depth_is_scaled": False,
    "root_share_is_scaled": False,
    "canopy_is_scaled": False,
    "canopy_height_is_scaled": False,
    "mulch_cover_fraction": 0.0,
    "mulch_rain_pass_fraction": 1.0,
    "mulch_kc_initial": 0.30,
    "mulch_kc_reduction_fraction": 0.0,
    "kc_initial": 0.30,
    "kc_mid": 1.05,
    "kc_end": 0.50,
    "kc_off_season": 0.20,
    "table_height_m": 1.5,
    "reference_canopy_ratio": 0.6**0.4,
    "canopy_density_factor": 1.5,
    "depletion_fraction": 0.50,
    "initial_depletion_mm": np.nan,
}
"""A mature berry block on sandy loam, two lines a row. The crop numbers are FAO-56 Tables 12 and
22, Berries; the rest is invented."""

BLOCK_FACTS: Mapping[str, Any] = {
    "farm_id": FARM_ID,
    "supply_id": "well",
    "site_id": "hill",
    "crop_key": "blueberry",
    "curve": BERRY_CURVE,
    "windows": DAY_WINDOW,
}


def make_block(block_key: str = "north", **changes: Any) -> BlockDefinition:
    """A mature berry block on sandy loam; ``changes`` are fields of the record."""
    values = {**ORDINARY_NUMBERS, **BLOCK_FACTS, "name": block_key, **changes}
    return BlockDefinition(block_id=f"{values['farm_id']}.{block_key}", **values)


def make_site(site_id: str = "hill", **changes: Any) -> SiteDefinition:
    """A place in the humid south-east of the United States."""
    values = {
        "name": site_id,
        "latitude_deg": 36.1,
        "longitude_deg": -79.95,
        "elevation_m": 273.0,
        "zone": ZONE,
        **changes,
    }
    return SiteDefinition(site_id=site_id, **values)


def make_supply(supply_id: str = "well", **changes: Any) -> SupplyDefinition:
    """A supply with flow to spare, open all day."""
    values = {
        "farm_id": FARM_ID,
        "name": supply_id,
        "flow_l_per_h": 1e6,
        "windows": WHOLE_DAY,
        **changes,
    }
    return SupplyDefinition(supply_id=supply_id, **values)


def make_bundle(
    *blocks: BlockDefinition,
    sites: Sequence[SiteDefinition] | None = None,
    supplies: Sequence[SupplyDefinition] | None = None,
) -> FarmBundle:
    """A farm with these blocks (one ordinary block if none), its site and its supply."""
    return FarmBundle(
        farm=FarmDefinition(farm_id=FARM_ID, name="Brook farm (invented)", zone=ZONE),
        sites=tuple(sites or (make_site(),)),
        supplies=tuple(supplies or (make_supply(),)),
        blocks=blocks or (make_block(),),
    )


def make_days(first_day: date, day_count: int) -> Days:
    """Successive civil days."""
    return np.datetime64(first_day, "D") + np.arange(day_count)


def make_weather(
    *, days: Days | int = 30, sites: int = 1, first_day: date = date(2023, 6, 1), **changes: Any
) -> RawWeather:
    """Even summer weather without rain; ``changes`` are fields as numbers or (days, sites) arrays.

    ``days`` may be a number of days from ``first_day`` on.
    """
    span = make_days(first_day, days) if isinstance(days, int) else days
    values: dict[str, Any] = {
        "tmax_c": 30.0 + 2.0 * np.sin(np.arange(span.size))[:, None],
        "tmin_c": 19.0 + np.cos(np.arange(span.size))[:, None],
        "tdew_c": 18.0,
        "rhmin_pct": 50.0,
        "wind_m_s": 1.8,
        "rs_mj_m2": 22.0 + 3.0 * np.sin(1.7 * np.arange(span.size))[:, None],
        "rain_mm": 0.0,
        **changes,
    }
    wind_height_m = values.pop("wind_height_m", 2.0)
    shape = (span.size, sites)
    filled: dict[str, Any] = {
        name: np.broadcast_to(np.asarray(value, dtype=np.float64), shape).copy()
        for name, value in values.items()
    }
    return replace(
        RawWeather.empty(span, sites),
        wind_height_m=np.broadcast_to(np.asarray(wind_height_m, np.float64), (sites,)).copy(),
        **filled,
    )


def make_weather_rows(
    weather: RawWeather,
    *,
    site_keys: Sequence[int] = (1,),
    source: str = "station",
    kind: str = "observed",
    issued_at: datetime = datetime(2023, 6, 1, 12, tzinfo=UTC),
) -> WeatherRows:
    """The same weather as the rows that an archive keeps, site after site."""
    day_count, site_count = weather.tmax_c.shape
    row_count = day_count * site_count
    height_m = np.broadcast_to(weather.wind_height_m, (day_count, site_count))
    return WeatherRows(
        site_keys=np.repeat(np.asarray(site_keys, dtype=np.int64), day_count),
        days=np.tile(weather.days, site_count),
        sources=(source,) * row_count,
        kinds=(kind,) * row_count,
        issued_at=(issued_at,) * row_count,
        wind_height_m=height_m.T.ravel(),
        fields={name: getattr(weather, name).T.ravel() for name in WEATHER_FIELDS},
    )


def daily_fields(weather: RawWeather, site: int = 0) -> dict[str, Floats]:
    """One site's weather by field, (days,), as a daily weather file gives it; fields known only."""
    columns = {name: getattr(weather, name)[:, site] for name in WEATHER_FIELDS}
    return {name: values for name, values in columns.items() if np.isfinite(values).any()}


def batch_of(
    *blocks: BlockDefinition,
    season_year: int = 2023,
    site_ids: Sequence[str] = ("hill",),
    supply_ids: Sequence[str] = ("well",),
) -> BlockBatch:
    """The blocks as the daily plan sees them; sites and supplies are in the given order."""
    return make_block_batch(
        number_columns(blocks),
        [block.curve for block in blocks],
        site_index=np.array([site_ids.index(block.site_id) for block in blocks], dtype=np.int64),
        supply_index=np.array(
            [supply_ids.index(block.supply_id) for block in blocks], dtype=np.int64
        ),
        season_year=season_year,
    )


def windows_of(*spans: Sequence[tuple[int, int]], is_outage: bool = False) -> WindowBatch:
    """Windows of blocks in elapsed minutes, one sequence of (opens, closes) a block."""
    width = max((len(block) for block in spans), default=1) or 1
    opens_min = np.zeros((len(spans), width), dtype=np.int64)
    closes_min = np.zeros((len(spans), width), dtype=np.int64)
    for row, block in enumerate(spans):
        for place, (opens, closes) in enumerate(block):
            opens_min[row, place], closes_min[row, place] = opens, closes
    return WindowBatch(
        opens_min=opens_min,
        closes_min=closes_min,
        is_outage=np.full(len(spans), is_outage, dtype=np.bool_),
    )


def weather_at(
    weather: RawWeather,
    sites: Sequence[SiteDefinition] | None = None,
    *,
    first_future_row: int | None = None,
) -> SiteWeather:
    """The weather checked and computed at its sites (ordinary ones if none are given)."""
    day_count, site_count = weather.tmax_c.shape
    places = sites or [make_site(f"site-{number}") for number in range(site_count)]
    return site_weather(
        weather,
        site_batch(places),
        krs_per_sqrt_c=np.array([site.krs_per_sqrt_c for site in places]),
        is_measured_rain=np.ones((day_count, site_count), dtype=np.bool_),
        normal_u2_m_s=monthly_normals(places, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(places, "rhmin_pct"),
        normal_et0_mm=monthly_normals(places, "et0_mm"),
        first_future_row=day_count if first_future_row is None else first_future_row,
    )


def even_days(
    *,
    day_count: int = 7,
    site_count: int = 1,
    first_day: date = date(2023, 7, 1),
    et0_mm: Any = 5.0,
    **changes: Any,
) -> SiteDays:
    """Days all alike: sun from 06:00 to 20:00, no rain, no climate adjustment."""
    values: dict[str, Any] = {
        "et0_mm": et0_mm,
        "rain_mm": 0.0,
        "rain_probability_fraction": 1.0,
        "tmax_c": 30.0,
        "tmin_c": 20.0,
        "climate_term": 0.0,
        "sunrise_min": 360.0,
        "sunset_min": 1200.0,
        **changes,
    }
    shape = (day_count, site_count)
    return SiteDays(
        days=make_days(first_day, day_count),
        **{
            name: np.broadcast_to(np.asarray(value, dtype=np.float64), shape).copy()
            for name, value in values.items()
        },
    )
