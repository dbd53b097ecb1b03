"""What instruments at places nearby say of the days of a run.

In: the columns of a run. Out: for each column one value a day of the places within 60 km. Only what
was read or imported at a place itself counts: a weather service that says the same of two places
has said it once. Farms' own gauges are not looked at. Every place in the database counts, so that
one farm alone is judged as all farms together are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.great_circle import EARTH_RADIUS_KM
from service.agronomy.records import Days, Floats, Ints
from service.agronomy.weather_nearby import NEAR_KM, Nearby, nearby_weather, nearest_places
from service.attributions import ATTRIBUTIONS
from service.database.session import UnitOfWork
from service.operations.evening.own_rain import SOURCE as GAUGE
from service.operations.evening.own_rain import WeatherColumns
from service.operations.evening.site_columns import distances_km
from service.operations.evening.source_table import source_table
from service.records.farms import SiteTable
from service.records.weather import WeatherRows, joined_rows, taken_rows

NOT_OF_THE_PLACE = frozenset({*ATTRIBUTIONS, GAUGE})


@dataclass(frozen=True, slots=True)
class NearPlaces:
    """The places near the columns of a run that have weather of their own."""

    places: SiteTable
    km: Floats
    """(columns, places)"""

    def of_columns(self, which: Ints) -> NearPlaces:
        """The same of some columns."""
        return NearPlaces(self.places, self.km[which])

    def said(self, rows: WeatherRows, days: Days) -> Nearby:
        """What their rows say on these days."""
        found = source_table(
            rows, np.searchsorted(self.places.keys, rows.site_keys), self.places, days
        )
        values = {name: said[:1].copy() for name, said in found.voices.values.items()}
        for name, said in found.voices.values.items():
            for voice in said[1:]:
                values[name][0] = np.where(np.isnan(values[name][0]), voice, values[name][0])
        return nearby_weather(
            {name: said[0] for name, said in values.items()}, *nearest_places(self.km)
        )


def find_near_places(
    unit: UnitOfWork, columns: WeatherColumns, days: Days
) -> tuple[NearPlaces, WeatherRows] | None:
    """Places within 60 km of the columns, and their own weather; None where there is none."""
    everywhere = unit.blocks.read_site_table()
    candidates = _in_reach(columns.sites, everywhere)
    missing = candidates[~np.isin(candidates, columns.sites.keys)]
    parts = [columns.rows]
    if missing.size:
        parts.append(
            unit.weather.read_rows(missing, first_day=days[0].item(), last_day=days[-1].item())
        )
    # A place with several columns has its rows in each of them.
    own = [own_weather(part, days) for part in parts]
    rows = _each_once(joined_rows(*own) if len(own) > 1 else own[0])
    keys = np.unique(rows.site_keys)
    if not keys.size:
        return None
    at = np.searchsorted(everywhere.keys, keys)
    places = SiteTable(keys, tuple(everywhere.definitions[place] for place in at.tolist()))
    km = distances_km(columns.sites, places)
    return (NearPlaces(places, km), rows) if (km <= NEAR_KM).any() else None


def own_weather(rows: WeatherRows, days: Days) -> WeatherRows:
    """The rows of these days that are of the place itself."""
    is_own = np.array([source not in NOT_OF_THE_PLACE for source in rows.sources], dtype=np.bool_)
    is_in_span = (rows.days >= days[0]) & (rows.days <= days[-1])
    return taken_rows(rows, np.flatnonzero(is_own & is_in_span))


def _each_once(rows: WeatherRows) -> WeatherRows:
    keys = list(
        zip(rows.site_keys.tolist(), rows.days.tolist(), rows.sources, rows.kinds, strict=True)
    )
    last = {key: place for place, key in enumerate(keys)}
    if len(last) == len(keys):
        return rows
    return taken_rows(rows, np.array(sorted(last.values()), dtype=np.int64))


def _in_reach(sites: SiteTable, everywhere: SiteTable) -> Ints:
    """Keys of the places whose latitude is near enough to that of any of the sites."""
    reach_deg = np.degrees(NEAR_KM / EARTH_RADIUS_KM)
    here = np.sort(np.array([site.latitude_deg for site in sites.definitions]))
    there = np.array([site.latitude_deg for site in everywhere.definitions])
    is_near: NDArray[np.bool_] = np.searchsorted(here, there - reach_deg) < np.searchsorted(
        here, there + reach_deg, side="right"
    )
    return everywhere.keys[is_near]
