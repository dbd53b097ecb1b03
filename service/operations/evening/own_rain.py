"""Rain that farms read at their own gauges, beside the weather of the places they draw on.

In: the places of a run and their stored weather. Out: the same with one more column for each farm
that has a gauge of its own at a place that others use too. A farm's gauge never reaches the
column of a place that others may read. Of a place that one farm alone uses, the column is that
farm's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Ints
from service.database.session import UnitOfWork
from service.records.farms import SiteTable
from service.records.weather import (
    WEATHER_FIELDS,
    FarmRain,
    SiteFreshness,
    WeatherRows,
    joined_rows,
    taken_rows,
)

SOURCE = "gauge"
PLACE = 0
"""The farm key of a column that is the record of the place itself."""


@dataclass(frozen=True, slots=True)
class WeatherColumns:
    """The columns of a run's weather: its places, then the farms with a gauge of their own."""

    sites: SiteTable
    """The place of each column; a place comes again for each farm that has its own."""
    farm_keys: Ints
    """(columns,) the farm whose gauge counts; PLACE for the record of the place."""
    rows: WeatherRows
    column_of_row: Ints
    is_own: NDArray[np.bool_]
    """(rows,) whether a row is of a farm's own gauge and goes before all that the place has."""


def place_columns(sites: SiteTable, rows: WeatherRows) -> WeatherColumns:
    """One column for each place, with its own record alone."""
    return WeatherColumns(
        sites=sites,
        farm_keys=np.full(sites.keys.shape, PLACE, dtype=np.int64),
        rows=rows,
        column_of_row=np.searchsorted(sites.keys, rows.site_keys),
        is_own=np.zeros(len(rows), dtype=np.bool_),
    )


def columns_with_own_rain(
    unit: UnitOfWork, sites: SiteTable, rows: WeatherRows, *, first_day: date, last_day: date
) -> WeatherColumns:
    """As :func:`place_columns`, with what farms read at their own gauges in the span."""
    places = place_columns(sites, rows)
    rain = unit.rain.read_days(sites.keys, first_day=first_day, last_day=last_day)
    if not len(rain):
        return places
    sole_farms = unit.rain.find_sole_farms(np.unique(rain.site_keys))
    is_sole = rain.farm_keys == [sole_farms.get(key, PLACE) for key in rain.site_keys.tolist()]
    pairs = np.unique(np.stack([rain.site_keys, rain.farm_keys])[:, ~is_sole], axis=1)
    site_of_pair = np.searchsorted(sites.keys, pairs[0])
    column_of_pair = {
        pair: sites.keys.size + number
        for number, pair in enumerate(zip(*pairs.tolist(), strict=True))
    }
    column_of_rain = [
        int(np.searchsorted(sites.keys, site_key)) if sole else column_of_pair[site_key, farm_key]
        for site_key, farm_key, sole in zip(
            rain.site_keys.tolist(), rain.farm_keys.tolist(), is_sole.tolist(), strict=True
        )
    ]
    again = [np.flatnonzero(rows.site_keys == key) for key in pairs[0].tolist()]
    copied = np.concatenate([*again, np.empty(0, dtype=np.int64)]).astype(np.int64)
    column_of_copy = np.repeat(
        sites.keys.size + np.arange(len(again)), [each.size for each in again]
    )
    return WeatherColumns(
        sites=SiteTable(
            keys=np.concatenate([sites.keys, pairs[0]]),
            definitions=(
                *sites.definitions,
                *(sites.definitions[site] for site in site_of_pair.tolist()),
            ),
        ),
        farm_keys=np.concatenate([places.farm_keys, pairs[1]]),
        rows=joined_rows(rows, taken_rows(rows, copied), gauge_rows(rain)),
        column_of_row=np.concatenate(
            [places.column_of_row, column_of_copy, np.array(column_of_rain, dtype=np.int64)]
        ),
        is_own=np.concatenate([places.is_own, np.zeros(copied.size, dtype=np.bool_), ~is_sole]),
    )


def columns_of(sites: SiteTable, column_farm_keys: Ints, site_keys: Ints, farm_keys: Ints) -> Ints:
    """The column that each block draws on: its farm's own at its place, else the place's.

    Shapes: column_farm_keys as the sites; site_keys, farm_keys and the result (blocks,).
    """
    place_count = int((column_farm_keys == PLACE).sum())
    found: Ints = np.searchsorted(sites.keys[:place_count], site_keys)
    own_sites, own_farms = sites.keys[place_count:], column_farm_keys[place_count:]
    if own_sites.size:
        # The own columns ascend by site, then farm; one number says both.
        step = int(max(own_farms.max(), farm_keys.max())) + 1
        own, wanted = own_sites * step + own_farms, site_keys * step + farm_keys
        place = np.minimum(np.searchsorted(own, wanted), own.size - 1)
        found = np.where(own[place] == wanted, place_count + place, found)
    return found


def freshness_of(
    unit: UnitOfWork, site_keys: Ints, *, first_day: date, farm_key: int | None = None
) -> list[SiteFreshness]:
    """How far the weather of sites reaches, with rain of farms' own gauges, or of one farm's."""
    read = unit.rain.list_last_days(site_keys, farm_key=farm_key)
    places = unit.weather.list_freshness(site_keys, first_day=first_day)
    found = []
    for key, place in zip(site_keys.tolist(), places, strict=True):
        until = dict(place.measured_until)
        if key in read:
            until["rain"] = max(read[key], until.get("rain", read[key]))
        found.append(replace(place, measured_until=until))
    return found


def gauge_rows(rain: FarmRain) -> WeatherRows:
    """Rain of gauges as weather of their sites; every other field is not known."""
    missing = np.full(len(rain), np.nan)
    fields: Mapping[str, NDArray[np.float64]] = {
        name: rain.rain_mm if name == "rain_mm" else missing for name in WEATHER_FIELDS
    }
    return WeatherRows(
        site_keys=rain.site_keys,
        days=rain.days,
        sources=(SOURCE,) * len(rain),
        kinds=("observed",) * len(rain),
        issued_at=rain.recorded_at,
        wind_height_m=missing,
        fields=fields,
        field_notes=rain.notes,
    )
