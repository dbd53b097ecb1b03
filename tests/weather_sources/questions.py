"""What the tests of weather sources ask, and how they look at the answers."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np

from service.ports import WeatherSource
from service.records.farms import SiteDefinition
from service.records.weather import SourceAnswer
from service.weather_sources.http import HttpPolicy, WeatherHttp
from service.weather_sources.nasa_power import NasaPower
from service.weather_sources.nws_grid import NwsGrid
from service.weather_sources.open_meteo import OpenMeteo
from tests.weather_sources.fake_providers import FakeProviders
from tests.weather_sources.fakes import StoresInMemory

NOW = datetime(2026, 7, 7, 8, 30, tzinfo=UTC)
FIRST_DAY, LAST_DAY = date(2026, 7, 5), date(2026, 7, 10)
CONTACT = "operator@example.org"
NO_PAUSE = timedelta(0)
FIELD_LIMITS = {
    "tmax_c": (-60, 60),
    "tmin_c": (-60, 60),
    "tdew_c": (-60, 60),
    "ea_kpa": (0, 10),
    "rhmax_pct": (0, 105),
    "rhmin_pct": (0, 105),
    "rhmean_pct": (0, 105),
    "wind_m_s": (0, 40),
    "rs_mj_m2": (0, 50),
    "sunshine_h": (0, 24),
    "rain_mm": (0, 500),
    "rain_probability_fraction": (0, 1),
}
SOURCES = ("open-meteo", "nasa-power", "nws-grid")


def make_site(
    site_id: str = "brook",
    *,
    latitude_deg: float = 33.0,
    longitude_deg: float = -90.2,
    zone: str = "America/Chicago",
) -> SiteDefinition:
    return SiteDefinition(
        site_id=site_id,
        name=site_id.title(),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=40.0,
        zone=zone,
    )


def make_http(stores: StoresInMemory, policy: HttpPolicy | None = None) -> WeatherHttp:
    return WeatherHttp(stores.open, contact=CONTACT, policy=policy)


def make_source(name: str, http: WeatherHttp, providers: FakeProviders) -> WeatherSource:
    if name == "open-meteo":
        return OpenMeteo(http, base_url=providers.base_url, weights_per_minute=math.inf)
    if name == "nasa-power":
        return NasaPower(http, base_url=providers.base_url, pause=NO_PAUSE)
    return NwsGrid(http, base_url=providers.base_url, pause=NO_PAUSE)


def fetch(
    source: WeatherSource,
    sites: Sequence[SiteDefinition] | None = None,
    *,
    first_day: date = FIRST_DAY,
    last_day: date = LAST_DAY,
    now: datetime = NOW,
) -> SourceAnswer:
    return asyncio.run(
        source.fetch(
            (make_site(),) if sites is None else sites,
            first_day=first_day,
            last_day=last_day,
            now=now,
        )
    )


def values(answer: SourceAnswer, field: str, *, site: int = 0) -> dict[date, float]:
    """A field by day at one site; NaN where a row lacks it."""
    rows = answer.rows
    return {
        day: float(value)
        for key, day, value in zip(
            rows.site_keys, rows.days.tolist(), rows.fields[field], strict=True
        )
        if key == site
    }


def notes(answer: SourceAnswer, field: str, day: date, *, site: int = 0) -> dict[str, object]:
    rows = answer.rows
    for key, own, note in zip(rows.site_keys, rows.days.tolist(), rows.field_notes, strict=True):
        if key == site and own == day:
            return dict(note.get(field, {}))
    raise AssertionError(f"no row of site {site} for {day}")


def reasons(answer: SourceAnswer) -> set[str]:
    return {problem.reason for problem in answer.problems}


def assert_no_sentinels(answer: SourceAnswer) -> None:
    for name, column in answer.rows.fields.items():
        lowest, highest = FIELD_LIMITS[name]
        known = column[~np.isnan(column)]
        assert ((known >= lowest) & (known <= highest)).all(), (name, known)
