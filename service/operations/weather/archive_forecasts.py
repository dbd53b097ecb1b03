"""Keep what a weather service has just forecast, as it was issued, with its leads.

Of each civil day of a site the last forecast counts that came by the evening, since plans are made
then: it is lead 1 for the next day however old the model run behind it is. What comes later that
night counts only where nothing came before. A site that has moved begins its archive again, since
errors of another place say nothing of this one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.great_circle import distance_km
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.site_weather import SiteWeather, site_weather
from service.agronomy.weather_choice import choose_weather
from service.database.session import UnitOfWork
from service.operations.evening.gather_weather import OLDEST_FORECAST_H
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.operations.reading.read_farms import local_day
from service.records.farms import SiteDefinition, SiteTable
from service.records.forecasts import (
    LEAD_NUMBERS,
    LONGEST_LEAD_DAYS,
    ForecastIssue,
    ForecastPlace,
    LeadRows,
)
from service.records.weather import WEATHER_FIELDS, WeatherRows, taken_rows

EVENING_ENDS = time(20)
"""[CHOICE] Wall time after which a forecast is no longer the one that plans were made with."""
SAME_PLACE_KM = 1.0
SAME_PLACE_M = 50.0
"""[CHOICE] A site whose coordinates or elevation are corrected by less than this has not moved."""


@dataclass(frozen=True, slots=True)
class FreshForecasts:
    """What one source forecast in one answer, ready to be kept."""

    issues: tuple[ForecastIssue, ...]
    is_late: tuple[bool, ...]
    """Whether each came after the evening of its civil day."""
    leads: LeadRows


def fresh_forecasts(
    sites: SiteTable, rows: WeatherRows, *, now: datetime
) -> dict[str, FreshForecasts]:
    """The forecasts of an answer by source, with reference ET; past days and old ones left out."""
    oldest = now - timedelta(hours=OLDEST_FORECAST_H)
    today = {
        int(key): local_day(now, site.zone)
        for key, site in zip(sites.keys, sites.definitions, strict=True)
    }
    keys, days = rows.site_keys.tolist(), rows.days.astype("datetime64[D]").tolist()
    chosen: dict[str, list[int]] = {}
    for place, (key, day, kind, issued_at) in enumerate(
        zip(keys, days, rows.kinds, rows.issued_at, strict=True)
    ):
        ahead = (day - today[key]).days
        if kind == "forecast" and issued_at >= oldest and 0 <= ahead <= LONGEST_LEAD_DAYS:
            chosen.setdefault(rows.sources[place], []).append(place)
    return {
        source: _of_source(sites, taken_rows(rows, np.array(places, dtype=np.int64)), today, now)
        for source, places in chosen.items()
    }


def archive_forecasts(
    unit: UnitOfWork, sites: SiteTable, fresh: Mapping[str, FreshForecasts]
) -> None:
    """Store them, unless a forecast of the same evening is kept and these came after it."""
    if not fresh:
        return
    _keep_places(unit, sites, fresh)
    for source, found in fresh.items():
        first_day = min(issue.issued_on for issue in found.issues)
        known = unit.forecasts.list_issued_on(sites.keys, source=source, first_day=first_day)
        kept = {
            issue.site_key
            for issue, late in zip(found.issues, found.is_late, strict=True)
            if not late or known.get(issue.site_key) != issue.issued_on
        }
        unit.forecasts.save_issues([issue for issue in found.issues if issue.site_key in kept])
        of_kept = np.isin(found.leads.site_keys, np.array(sorted(kept), dtype=np.int64))
        unit.forecasts.save_leads(_taken(found.leads, np.flatnonzero(of_kept)))


def _of_source(
    sites: SiteTable, rows: WeatherRows, today: Mapping[int, date], now: datetime
) -> FreshForecasts:
    used = np.unique(rows.site_keys)
    definitions = [sites.definitions[place] for place in np.searchsorted(sites.keys, used)]
    days = np.arange(rows.days.min(), rows.days.max() + 1, dtype="datetime64[D]")
    column = np.searchsorted(used, rows.site_keys)
    day_row = (rows.days - days[0]).astype(np.int64)
    weather = _weather(rows, days, definitions, day_row=day_row, column=column)
    issued_on = np.array([today[int(key)] for key in rows.site_keys], dtype="datetime64[D]")
    lead_days = (rows.days - issued_on).astype(np.int64)
    numbers = {name: np.full(len(rows), np.nan) for name in LEAD_NUMBERS}
    for name in ("rain_mm", "rain_probability_fraction", "tmax_c"):
        numbers[name] = rows.fields[name]
    numbers["et0_mm"] = weather.computed_et0_mm[day_row, column]
    leads = LeadRows(
        site_keys=rows.site_keys,
        days=rows.days,
        sources=rows.sources,
        lead_days=lead_days,
        member_count=np.zeros(len(rows), dtype=np.int64),
        numbers=numbers,
    )
    issues, is_late = [], []
    for key, site in zip(used.tolist(), definitions, strict=True):
        own = np.flatnonzero(rows.site_keys == key)
        issues.append(_issue(site, taken_rows(rows, own), today[key], now))
        is_late.append(now.astimezone(ZoneInfo(site.zone)).time() >= EVENING_ENDS)
    return FreshForecasts(tuple(issues), tuple(is_late), _taken(leads, np.flatnonzero(lead_days)))


def _weather(
    rows: WeatherRows,
    days: Days,
    sites: Sequence[SiteDefinition],
    *,
    day_row: Ints,
    column: Ints,
) -> SiteWeather:
    """The forecast checked and converted to reference ET as plans would, from this source alone."""
    chosen = choose_weather(
        {name: rows.fields[name] for name in WEATHER_FIELDS},
        days=days,
        site_count=len(sites),
        day_index=day_row,
        site_index=column,
        rank=np.zeros(len(rows), dtype=np.int64),
        wind_height_m=rows.wind_height_m,
    )
    return site_weather(
        chosen.raw,
        site_batch(sites),
        krs_per_sqrt_c=np.array([site.krs_per_sqrt_c for site in sites]),
        is_measured_rain=np.zeros((days.size, len(sites)), dtype=np.bool_),
        normal_u2_m_s=monthly_normals(sites, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(sites, "rhmin_pct"),
        normal_et0_mm=np.full((12, len(sites)), np.nan),
        first_future_row=0,
        own_tdew_offset_c=monthly_normals(sites, "tdew_offset_c"),
    )


def _issue(
    site: SiteDefinition, rows: WeatherRows, issued_on: date, now: datetime
) -> ForecastIssue:
    order = np.argsort(rows.days, kind="stable")
    return ForecastIssue(
        site_key=int(rows.site_keys[0]),
        source=rows.sources[0],
        issued_on=issued_on,
        issued_at=max(rows.issued_at),
        fetched_at=now,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
        days=tuple(rows.days[order].astype("datetime64[D]").tolist()),
        fields={
            name: tuple(_or_none(rows.fields[name][order]))
            for name in WEATHER_FIELDS
            if np.isfinite(rows.fields[name]).any()
        },
    )


def _or_none(values: Floats) -> list[float | None]:
    return [value if np.isfinite(value) else None for value in values.tolist()]


def _taken(rows: LeadRows, places: Ints) -> LeadRows:
    return LeadRows(
        site_keys=rows.site_keys[places],
        days=rows.days[places],
        sources=tuple(rows.sources[place] for place in places.tolist()),
        lead_days=rows.lead_days[places],
        member_count=rows.member_count[places],
        numbers={name: values[places] for name, values in rows.numbers.items()},
    )


def _keep_places(unit: UnitOfWork, sites: SiteTable, fresh: Mapping[str, FreshForecasts]) -> None:
    """Begin the archives of new sites, and begin those again whose site has moved."""
    first_days: dict[int, date] = {}
    for found in fresh.values():
        first_days.update((issue.site_key, issue.issued_on) for issue in found.issues)
    known = unit.forecasts.list_places(sites.keys)
    begun = []
    for key, site in zip(sites.keys.tolist(), sites.definitions, strict=True):
        before = known.get(key)
        if key not in first_days or (before is not None and not has_moved(before, site)):
            continue
        begun.append(
            ForecastPlace(
                site_key=key,
                latitude_deg=site.latitude_deg,
                longitude_deg=site.longitude_deg,
                elevation_m=site.elevation_m,
                first_day=first_days[key],
                has_moved=before is not None,
            )
        )
    if begun:
        unit.forecasts.save_places(begun)


def has_moved(before: ForecastPlace, site: SiteDefinition) -> bool:
    """Whether a site is no longer where its archive began."""
    apart_km = distance_km(
        np.array([before.latitude_deg]), np.array([before.longitude_deg]),
        np.array([site.latitude_deg]), np.array([site.longitude_deg]),
    ).item()  # fmt: skip
    return bool(
        apart_km > SAME_PLACE_KM or abs(before.elevation_m - site.elevation_m) > SAME_PLACE_M
    )
