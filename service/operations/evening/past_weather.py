"""Which rows of weather go before which, and what they say of the past days of some sites.

In: the archive, sites and days. Out: the best value of each site, day and field.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Ints
from service.agronomy.site_weather import PastHumidity, SiteWeather, past_humidity, site_weather
from service.agronomy.weather_choice import NO_ROW, ChosenWeather, choose_weather
from service.agronomy.weather_day import RawWeather
from service.database.weather_archive import WeatherArchive
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import SiteDefinition, SiteTable
from service.records.weather import WEATHER_FIELDS, WeatherRows

KINDS = ("forecast", "analysis", "observed")
"""Kinds of weather; for a past day, a later one in the list is better."""
SOURCE_STEP = 1000
"""Source ranks, with ``OWN_STEP``, stay within one step of the kind's rank."""
LEARNING_SPAN_DAYS = 365
"""How far back the offset of the dewpoint is learned at a site whose humidity is missing."""
SETTLING_DAYS = 10
"""Days read before those wanted, since a day's radiation may be judged by the week before it."""
OWN_STEP = 500
"""By how much a farm's own gauge goes before the sources of a place of the same kind."""


def past_weather(
    archive: WeatherArchive,
    site_keys: Ints,
    days: Days,
    source_order: Mapping[str, int],
    *,
    is_measured_only: bool = False,
) -> ChosenWeather:
    """The best value of each field on past days, in the order of the keys.

    ``is_measured_only`` leaves out forecasts of days that nobody has reported since.
    """
    rows = archive.read_rows(site_keys, first_day=days[0].item(), last_day=days[-1].item())
    kind_rank = kind_ranks(rows)
    is_usable = (kind_rank > 0) | (not is_measured_only)
    return choose_weather(
        {name: np.where(is_usable, rows.fields[name], np.nan) for name in WEATHER_FIELDS},
        days=days,
        site_count=site_keys.size,
        day_index=(rows.days - days[0]).astype(np.int64),
        site_index=np.searchsorted(site_keys, rows.site_keys),
        rank=ranks(rows, kind_rank, source_order, is_future=np.zeros(rows.days.shape, np.bool_)),
        wind_height_m=rows.wind_height_m,
    )


def measured_site_weather(
    archive: WeatherArchive,
    site_keys: Ints,
    places: Sequence[SiteDefinition],
    days: Days,
    source_order: Mapping[str, int],
) -> SiteWeather:
    """The weather of other days or places from what was measured there, (days, places).

    Without humidity the dewpoint is the night minimum, less what was given for the place: an offset
    learned from more or fewer days would move it.
    """
    chosen = past_weather(archive, site_keys, days, source_order, is_measured_only=True)
    return site_weather(
        chosen.raw,
        site_batch(places),
        krs_per_sqrt_c=np.array([place.krs_per_sqrt_c for place in places]),
        is_measured_rain=np.ones((days.size, len(places)), dtype=np.bool_),
        normal_u2_m_s=monthly_normals(places, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(places, "rhmin_pct"),
        normal_et0_mm=np.full((12, len(places)), np.nan),
        first_future_row=days.size,
        own_tdew_offset_c=np.nan_to_num(monthly_normals(places, "tdew_offset_c"), nan=0.0),
    )


def kind_ranks(rows: WeatherRows) -> Ints:
    """Place of each row's kind in ``KINDS``."""
    rank_of = {kind: rank for rank, kind in enumerate(KINDS)}
    return np.array([rank_of[kind] for kind in rows.kinds], dtype=np.int64)


def ranks(
    rows: WeatherRows,
    kind_rank: Ints,
    source_order: Mapping[str, int],
    *,
    is_future: NDArray[np.bool_],
) -> Ints:
    """Rank of each row: observations win on past days, forecasts on coming days."""
    source_rank = np.array([source_order.get(source, 0) for source in rows.sources], dtype=np.int64)
    by_kind = np.where(is_future, len(KINDS) - 1 - kind_rank, kind_rank)
    return by_kind * SOURCE_STEP + source_rank


def has_kind(chosen: ChosenWeather, name: str, kind_rank: Ints) -> NDArray[np.bool_]:
    """(days, sites) whether the value of a field was observed or analysed, not forecast."""
    row_of = chosen.row_of[name]
    if kind_rank.size == 0:
        return np.zeros(row_of.shape, dtype=np.bool_)
    measured: NDArray[np.bool_] = (row_of != NO_ROW) & (kind_rank[row_of] > 0)
    return measured


def humidity_before(
    archive: WeatherArchive, sites: SiteTable, raw: RawWeather, source_order: Mapping[str, int]
) -> PastHumidity | None:
    """The humidity of the year before, of sites with days that lack it and no offset of their own.

    None, and nothing is read, where there is no such site.
    """
    has_humidity = np.isfinite(raw.ea_kpa) | np.isfinite(raw.tdew_c) | np.isfinite(raw.rhmax_pct)
    lacks = np.isfinite(raw.tmin_c) & ~(has_humidity | np.isfinite(raw.rhmean_pct))
    has_own = np.isfinite(monthly_normals(sites.definitions, "tdew_offset_c")).all(axis=0)
    which = np.flatnonzero(lacks.any(axis=0) & ~has_own)
    if not which.size:
        return None
    days = np.arange(raw.days[0] - LEARNING_SPAN_DAYS, raw.days[0], dtype="datetime64[D]")
    # A place may have several columns, which differ in their rain only.
    keys, first, place = np.unique(sites.keys[which], return_index=True, return_inverse=True)
    chosen = past_weather(archive, keys, days, source_order)
    found = past_humidity(
        chosen.raw, site_batch([sites.definitions[site] for site in which[first]])
    )
    tmin_c, measured_ea_kpa = np.full((2, days.size, raw.tmin_c.shape[1]), np.nan)
    tmin_c[:, which] = found.tmin_c[:, place]
    measured_ea_kpa[:, which] = found.measured_ea_kpa[:, place]
    return PastHumidity(days, tmin_c, measured_ea_kpa)
