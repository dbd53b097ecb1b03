"""Weather of a site day by day, as plans use it, with where each value comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from service.agronomy.county_need import Basis, days_by_basis
from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.gather_weather import (
    gather_for_farms,
    gather_weather,
    weather_documents,
)
from service.operations.evening.run_weather import OUTLOOK_DAYS
from service.operations.reading.read_balance import LONGEST_SPAN_DAYS
from service.operations.reading.read_farms import local_day
from service.ports import Clock
from service.records.weather_basis import WeatherBasis, read_weather_basis

CLIMATE_DAYS = 30
"""Days before the span whose wind and humidity stand for the climate, as plans take them."""
SHOWN_DAYS_BACK = 30


@dataclass(frozen=True, slots=True)
class WeatherWish:
    """Which days of a site somebody asks for; None: thirty days back, and as far as plans look."""

    site_id: str
    farm_id: str | None
    """The farm whose own gauge counts; None: the record of the place alone."""
    first_day: date | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True)
class SiteWeatherDays:
    """Days of a site as known now."""

    weather: WeatherBasis
    rests_on: tuple[Basis, ...]
    """By day, what its reference ET rests on."""


def read_weather_days(
    wish: WeatherWish,
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    source_order: Mapping[str, int],
) -> SiteWeatherDays:
    """Checked weather with reference ET, flags and origins of each day of at most 400.

    Raises NotFound for an unknown site or farm, InputInvalid for a span that is too long or falls.
    """
    with unit_of_work(write=False) as unit:
        key = unit.blocks.get_site_key(wish.site_id)
        site_keys = np.array([key], dtype=np.int64)
        sites = unit.blocks.read_site_table(site_keys)
        now = clock.now()
        on = local_day(now, sites.definitions[0].zone)
        first_day, last_day = _span(wish, on)
        gathered = (gather_weather if wish.farm_id is None else gather_for_farms)(
            unit,
            sites,
            on=on,
            now=now,
            first_day=first_day - timedelta(days=CLIMATE_DAYS),
            last_day=last_day,
            source_order=source_order,
        )
        column = 0
        if wish.farm_id is not None:
            farm_key = unit.blocks.farm_keys([wish.farm_id])[wish.farm_id]
            column = int(gathered.columns_of(site_keys, np.array([farm_key]))[0])
    rows = slice(CLIMATE_DAYS, None)
    # Each day by itself: as one of so many places with a span of one day.
    by_basis = days_by_basis(
        gathered.weather.days.et0_mm[rows, column][None, :],
        gathered.weather.et0_flags[rows, column][None, :],
        gathered.is_observed[rows, column][None, :],
    )
    weather = read_weather_basis(weather_documents(gathered, first_day=first_day).documents[column])
    return SiteWeatherDays(weather, tuple(by_basis.of(day) for day in range(len(weather.days))))


def _span(wish: WeatherWish, on: date) -> tuple[date, date]:
    last_day = wish.last_day or max(on + timedelta(days=OUTLOOK_DAYS), wish.first_day or on)
    first_day = wish.first_day or min(on, last_day) - timedelta(days=SHOWN_DAYS_BACK)
    if not 0 <= (last_day - first_day).days <= LONGEST_SPAN_DAYS:
        allowed = f"the first day or one up to {LONGEST_SPAN_DAYS} days after it"
        raise InputInvalid(
            f"the span {first_day} to {last_day} cannot be read",
            [Fault("to", last_day.isoformat(), allowed)],
        )
    return first_day, last_day
