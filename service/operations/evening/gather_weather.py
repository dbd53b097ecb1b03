"""Weather of all sites of a run: read, chosen per field, checked, and converted to reference ET.

One call serves every block of the run. What was chosen, from which source and with which flags, is
kept so that each plan can carry its weather reasoning.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import orjson
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.site_weather import SiteWeather, site_weather
from service.agronomy.weather_choice import NO_ROW, ChosenWeather, choose_weather
from service.agronomy.weather_flags import FieldFlag
from service.database.session import UnitOfWork
from service.operations.evening.close_gaps import close_gaps
from service.operations.evening.cross_check import CrossCheck, cross_check
from service.operations.evening.neighbour_weather import BorrowedWeather
from service.operations.evening.own_rain import (
    WeatherColumns,
    columns_of,
    columns_with_own_rain,
    place_columns,
)
from service.operations.evening.past_weather import (
    OWN_STEP,
    has_kind,
    humidity_before,
    kind_ranks,
    ranks,
)
from service.operations.evening.set_aside import is_doubted, set_aside_since, values_set_aside
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import SiteTable
from service.records.weather import WEATHER_FIELDS, WeatherRows

FRESH_FORECAST_H = 24.0  # [CHOICE] h, a forecast older than this is labelled
OLDEST_FORECAST_H = 48.0  # [CHOICE] h, a forecast older than this is not used
BORROWED_SHOWN_DAYS = 10
"""How far back a plan names the days whose reference ET is that of a place nearby."""


@dataclass(frozen=True, slots=True)
class GatheredWeather:
    """Weather of a span of days at the sites of a run."""

    on: date
    days: Days
    sites: SiteTable
    """The place of each column; see ``farm_keys``."""
    farm_keys: Ints
    """(sites,) the farm whose own gauge counts in a column; PLACE for the record of a place."""
    rows: WeatherRows
    chosen: ChosenWeather
    weather: SiteWeather
    is_observed: NDArray[np.bool_]
    """(days, sites) whether both temperatures come from an observation or analysis."""
    has_temperatures: NDArray[np.bool_]
    """(days, sites) whether both temperatures are known from any source."""
    is_old_forecast: NDArray[np.bool_]
    """(days, sites) whether the maximum temperature is a forecast from yesterday or earlier."""
    borrowed: BorrowedWeather | None = None
    """Past reference ET after places nearby; None where there is none."""
    set_aside: Mapping[int, list[dict[str, object]]] = field(default_factory=dict)
    """By column, values of the most trusted source that were not used, and why."""

    def columns_of(self, site_keys: Ints, farm_keys: Ints) -> Ints:
        """The column that each block draws on: its farm's own at its place, else the place's."""
        return columns_of(self.sites, self.farm_keys, site_keys, farm_keys)

    def is_doubted(self, row: int) -> NDArray[np.bool_]:
        """(sites,) whether sources contradicted each other on a day or the two before it."""
        return is_doubted(self.weather, slice(max(0, row - 2), row + 1))


def gather_weather(
    unit: UnitOfWork,
    sites: SiteTable,
    *,
    on: date,
    now: datetime,
    first_day: date,
    last_day: date,
    source_order: Mapping[str, int],
) -> GatheredWeather:
    """Read and prepare the weather from ``first_day`` to ``last_day`` as known on ``on``.

    ``source_order`` ranks the sources, higher is better; sources it does not name rank lowest. A
    forecast older than 48 hours, now or at the end of a past evening, is not used.
    """
    rows = unit.weather.read_rows(sites.keys, first_day=first_day, last_day=last_day)
    days = np.arange(np.datetime64(first_day), np.datetime64(last_day) + 1, dtype="datetime64[D]")
    return _prepared(
        unit, place_columns(sites, rows), days, on=on, now=now, source_order=source_order
    )


def gather_for_farms(
    unit: UnitOfWork,
    sites: SiteTable,
    *,
    on: date,
    now: datetime,
    first_day: date,
    last_day: date,
    source_order: Mapping[str, int],
) -> GatheredWeather:
    """As :func:`gather_weather`, with what farms read at their own gauges, for their own blocks.

    At a place that others use too, a farm's gauge goes before all that the place has.
    """
    rows = unit.weather.read_rows(sites.keys, first_day=first_day, last_day=last_day)
    days = np.arange(np.datetime64(first_day), np.datetime64(last_day) + 1, dtype="datetime64[D]")
    columns = columns_with_own_rain(unit, sites, rows, first_day=first_day, last_day=last_day)
    return _prepared(unit, columns, days, on=on, now=now, source_order=source_order)


def _prepared(
    unit: UnitOfWork,
    columns: WeatherColumns,
    days: Days,
    *,
    on: date,
    now: datetime,
    source_order: Mapping[str, int],
) -> GatheredWeather:
    sites, rows = columns.sites, columns.rows
    today_index = int((np.datetime64(on) - days[0]).astype(np.int64))
    kind_rank = kind_ranks(rows)
    age_h = _forecast_ages_h(rows, kind_rank, on=on, now=now)
    day_index = (rows.days - days[0]).astype(np.int64)
    rank = ranks(rows, kind_rank, source_order, is_future=day_index > today_index)
    rank = rank + OWN_STEP * columns.is_own
    is_usable = ~(age_h > OLDEST_FORECAST_H)
    check = cross_check(unit, columns, days, is_usable, on=on)
    chosen = _chosen(columns, days, is_usable, rank, check)
    is_observed = has_kind(chosen, "tmax_c", kind_rank) & has_kind(chosen, "tmin_c", kind_rank)
    first_future_row = min(max(today_index, 0), days.size)
    weather = site_weather(
        chosen.raw,
        site_batch(sites.definitions),
        krs_per_sqrt_c=np.array([site.krs_per_sqrt_c for site in sites.definitions]),
        is_measured_rain=has_kind(chosen, "rain_mm", kind_rank),
        normal_u2_m_s=monthly_normals(sites.definitions, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(sites.definitions, "rhmin_pct"),
        normal_et0_mm=monthly_normals(sites.definitions, "et0_mm"),
        first_future_row=first_future_row,
        own_tdew_offset_c=monthly_normals(sites.definitions, "tdew_offset_c"),
        past=humidity_before(unit.weather, sites, chosen.raw, source_order),
    )
    aside = values_set_aside(check, columns, chosen, rank=rank)
    weather, borrowed = close_gaps(
        unit,
        sites,
        aside.flagged(weather),
        is_observed=is_observed,
        first_future_row=first_future_row,
        source_order=source_order,
    )
    return GatheredWeather(
        on=on,
        days=days,
        sites=sites,
        farm_keys=columns.farm_keys,
        rows=rows,
        chosen=chosen,
        weather=weather,
        is_observed=is_observed,
        has_temperatures=np.isfinite(chosen.raw.tmax_c) & np.isfinite(chosen.raw.tmin_c),
        is_old_forecast=_picked(chosen, "tmax_c", age_h) > FRESH_FORECAST_H,
        borrowed=borrowed,
        set_aside=aside.by_column(),
    )


def _chosen(
    columns: WeatherColumns,
    days: Days,
    is_usable: NDArray[np.bool_],
    rank: Ints,
    check: CrossCheck,
) -> ChosenWeather:
    rows = columns.rows
    return choose_weather(
        {
            name: np.where(is_usable & check.may_use(name, len(rows)), rows.fields[name], np.nan)
            for name in WEATHER_FIELDS
        },
        days=days,
        site_count=len(columns.sites.definitions),
        day_index=(rows.days - days[0]).astype(np.int64),
        site_index=columns.column_of_row,
        rank=rank,
        wind_height_m=rows.wind_height_m,
    )


def _forecast_ages_h(rows: WeatherRows, kind_rank: Ints, *, on: date, now: datetime) -> Floats:
    """Age of each forecast row, as of now or the end of a past evening; NaN for others."""
    evening_end = datetime.combine(on + timedelta(days=1), time(12), tzinfo=UTC)
    seen_from = min(now, evening_end)
    ages_h = [(seen_from - issued).total_seconds() / 3600.0 for issued in rows.issued_at]
    return np.where(kind_rank == 0, np.array(ages_h, dtype=np.float64), np.nan)


def _picked(chosen: ChosenWeather, name: str, by_row: Floats) -> Floats:
    """A number from the rows that a field was taken from, (days, sites); NaN without a row."""
    row_of = chosen.row_of[name]
    if by_row.size == 0:
        return np.full(row_of.shape, np.nan)
    return np.where(row_of == NO_ROW, np.nan, by_row[row_of])


@dataclass(frozen=True, slots=True)
class WeatherDocuments:
    """The weather reasoning of sites, in their order."""

    documents: list[bytes]
    digests: list[str]
    """Hash of each site's numbers and flags, not of when they were issued or fetched."""


def _offsets_used(weather: SiteWeather) -> dict[str, Floats]:
    """How far the dewpoint was taken below the night minimum, on the days without humidity.

    NaN on all others: what is learned moves a little with the days at hand, and a plan that does
    not rest on it must not change with them.
    """
    estimated = np.int32(FieldFlag.ESTIMATED_FROM_TMIN)
    is_used = (weather.checked.flags["ea_kpa"] & estimated) != 0
    counts = weather.tdew_offset_days_count.astype(np.float64)
    return {
        "tdew_offset_c": np.where(is_used, weather.tdew_offset_c, np.nan),
        "tdew_offset_days_count": np.where(is_used, counts, np.nan),
    }


def weather_documents(gathered: GatheredWeather, *, first_day: date) -> WeatherDocuments:
    """Each site's weather reasoning from ``first_day`` on, as JSON, in the order of the sites."""
    first = int((np.datetime64(first_day) - gathered.days[0]).astype(np.int64))
    days = [str(day) for day in gathered.days[first:]]
    checked, site_days = gathered.weather.checked, gathered.weather.days
    numbers: dict[str, Floats] = {
        "tmax_c": checked.tmax_c,
        "tmin_c": checked.tmin_c,
        "ea_kpa": checked.ea_kpa,
        "rhmin_pct": checked.rhmin_pct,
        "u2_m_s": checked.u2_m_s,
        "rs_mj_m2": checked.rs_mj_m2,
        "rain_mm": checked.rain_mm,
        "rain_probability_fraction": checked.rain_probability_fraction,
        "et0_mm": site_days.et0_mm,
        "climate_term": site_days.climate_term,
        **_offsets_used(gathered.weather),
        "climate_u2_m_s": gathered.weather.climate.u2_m_s,
        "climate_rhmin_pct": gathered.weather.climate.rhmin_pct,
        "sunrise_min": site_days.sunrise_min,
        "sunset_min": site_days.sunset_min,
    }
    columns = {name: np.round(values[first:], 4).T.tolist() for name, values in numbers.items()}
    flags = {
        name: values[first:].T.tolist()
        for name, values in {**checked.flags, "et0_mm": gathered.weather.et0_flags}.items()
    }
    labels = _labels(gathered.rows)
    notes = gathered.rows.field_notes
    documents, digests = [], []
    for index, site in enumerate(gathered.sites.definitions):
        origins, rows_by_field = _origins(gathered.chosen, index, first, labels)
        field_notes = _notes(gathered.chosen, index, first, notes) if notes else {}
        facts = {
            "site_id": site.site_id,
            "latitude_deg": site.latitude_deg,
            "longitude_deg": site.longitude_deg,
            "elevation_m": site.elevation_m,
            "zone": site.zone,
            "days": days,
            "fields": {name: values[index] for name, values in columns.items()},
            "flags": {name: values[index] for name, values in flags.items()},
            "unit_fault": gathered.weather.unit_faults.get(index),
            **_borrowed_spans(gathered, index),
            **set_aside_since(first_day, gathered.set_aside.get(index, ())),
        }
        digests.append(hashlib.sha256(orjson.dumps(facts)).hexdigest())
        documents.append(
            orjson.dumps(
                {
                    **facts,
                    "origins": origins,
                    "origin_of": rows_by_field,
                    "field_notes": field_notes,
                }
            )
        )
    return WeatherDocuments(documents=documents, digests=digests)


def _borrowed_spans(gathered: GatheredWeather, site: int) -> dict[str, list[dict[str, object]]]:
    """The last days whose reference ET is that of a place nearby, by span; nothing without any."""
    if gathered.borrowed is None:
        return {}
    today = int((np.datetime64(gathered.on) - gathered.days[0]).astype(np.int64))
    spans: list[dict[str, object]] = []
    for row in range(max(0, today - BORROWED_SHOWN_DAYS), today):
        numbers = {
            "distance_km": round(float(gathered.borrowed.distance_km[row, site]), 1),
            "neighbour_ratio": round(float(gathered.borrowed.neighbour_ratio[row, site]), 4),
            "common_days_count": float(gathered.borrowed.common_days_count[row, site]),
        }
        if not np.isfinite(numbers["distance_km"]):
            continue
        day, before = str(gathered.days[row]), str(gathered.days[row] - 1)
        if spans and spans[-1]["last_day"] == before and spans[-1].items() >= numbers.items():
            spans[-1]["last_day"] = day
        else:
            spans.append({"first_day": day, "last_day": day, **numbers})
    return {"borrowed_et0": spans} if spans else {}


def sources_on(gathered: GatheredWeather, site: int, day: date) -> dict[str, list[str]]:
    """The fields of one day at a site by where they come from: source, kind and issue in words."""
    row = int((np.datetime64(day) - gathered.days[0]).astype(np.int64))
    found: dict[str, list[str]] = {}
    for name, rows in gathered.chosen.row_of.items():
        chosen = int(rows[row, site])
        if chosen == NO_ROW:
            continue
        issued_at = gathered.rows.issued_at[chosen]
        origin = (
            f"{gathered.rows.sources[chosen]} {gathered.rows.kinds[chosen]}"
            f" of {issued_at:%Y-%m-%d %H:%M} UTC"
        )
        found.setdefault(origin, []).append(name)
    return found


def _labels(rows: WeatherRows) -> list[dict[str, str]]:
    """Where each row comes from, in words."""
    fetched_at = rows.fetched_at or rows.issued_at
    return [
        {
            "source": source,
            "kind": kind,
            "issued_at": issued.isoformat(),
            "fetched_at": fetched.isoformat(),
        }
        for source, kind, issued, fetched in zip(
            rows.sources, rows.kinds, rows.issued_at, fetched_at, strict=True
        )
    ]


def _notes(
    chosen: ChosenWeather,
    site: int,
    first: int,
    notes: Sequence[Mapping[str, Mapping[str, object]]],
) -> dict[str, dict[str, Mapping[str, object]]]:
    """The source's notes on each field and day: hours present, what it was estimated from."""
    noted: dict[str, dict[str, Mapping[str, object]]] = {}
    days = chosen.raw.days[first:].astype(str).tolist()
    for name, rows in chosen.row_of.items():
        for day, row in zip(days, rows[first:, site].tolist(), strict=True):
            note = notes[row].get(name) if row != NO_ROW else None
            if note:
                noted.setdefault(name, {})[day] = note
    return noted


def _origins(
    chosen: ChosenWeather, site: int, first: int, labels: list[dict[str, str]]
) -> tuple[list[dict[str, str]], dict[str, list[int]]]:
    """Distinct origins of a site's values, and for each field and day the index in it, or -1."""
    places: dict[tuple[str, ...], int] = {}
    origins: list[dict[str, str]] = []
    by_field: dict[str, list[int]] = {}
    for name, rows in chosen.row_of.items():
        picked = rows[first:, site].tolist()
        if all(row == NO_ROW for row in picked):
            continue
        column = []
        for row in picked:
            if row == NO_ROW:
                column.append(NO_ROW)
                continue
            key = tuple(labels[row].values())
            if key not in places:
                places[key] = len(origins)
                origins.append(labels[row])
            column.append(places[key])
        by_field[name] = column
    return origins, by_field
