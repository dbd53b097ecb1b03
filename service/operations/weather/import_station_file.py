"""Import a station's file into the archive: its intervals first, then the civil days they make up.

Intervals are kept, so that two files that meet in the middle of a day make that day together, and a
file that comes again in a longer form only adds to what was there. The same file again replaces
what it brought before, also when it was read with a wrong clock the first time. Days that change
reopen the ledgers from the first of them on; nothing changes where nothing is new.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.records import Days
from service.agronomy.station_day import StationDays, station_days
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.weather.import_weather import note_import
from service.ports import Clock
from service.records.farms import LoadOutcome
from service.records.weather import (
    WEATHER_FIELDS,
    StationIntervals,
    StationSetup,
    WeatherRows,
    taken_rows,
)

SOURCE = "station"
MARGIN_S = 86_400
"""Intervals around a span that complete the days at its ends."""


@dataclass(frozen=True, slots=True)
class StationImport:
    """What an import did; the counts are days."""

    outcome: LoadOutcome
    first_day: date | None
    """First day that the file makes up; None: it makes up none."""
    last_day: date | None
    first_changed_day: date | None
    notes: Mapping[date, Mapping[str, Mapping[str, object]]]
    """Notes by day and field: hours present, partial rain, stuck sensor, ..."""


def find_station_setup(site_id: str, *, unit_of_work: UnitOfWorkFactory) -> StationSetup:
    """The stored setup of a site's station, empty if there is none; raises NotFound."""
    with unit_of_work(write=False) as unit:
        site_key = unit.blocks.get_site_key(site_id)
        return unit.stations.find_setup(site_key) or StationSetup()


def merge_setup(given: StationSetup, remembered: StationSetup) -> StationSetup:
    """The given setup completed from the stored one; given values win."""
    return StationSetup(
        clock=given.clock or remembered.clock,
        stamp=given.stamp or remembered.stamp,
        wind_height_m=(
            remembered.wind_height_m if given.wind_height_m is None else given.wind_height_m
        ),
        radiation=given.radiation or remembered.radiation,
        columns={**remembered.columns, **given.columns},
    )


def import_station_file(
    site_id: str,
    intervals: StationIntervals,
    *,
    sha256: str,
    setup: StationSetup,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> StationImport:
    """Store the intervals of a file and the setup it was read with, and bring its days up to date.

    ``sha256`` is the hash of the file. All or nothing: one transaction.
    """
    now = clock.now()
    with unit_of_work(write=True) as unit:
        site_key = unit.blocks.get_site_key(site_id)
        sites = unit.blocks.read_site_table(np.array([site_key], dtype=np.int64))
        site = sites.definitions[0]
        unit.stations.save_setup(site_key, setup)
        touched = unit.stations.replace_intervals(
            site_key, intervals, sha256=sha256, recorded_at=now
        )
        days = _civil_days(touched, site.zone)
        stored = unit.stations.read_intervals(
            site_key,
            start_epoch_s=touched[0] - MARGIN_S,
            end_epoch_s=touched[1] + MARGIN_S,
        )
        found = station_days(
            stored.start_epoch_s, stored.end_epoch_s, stored.fields, zone=site.zone
        )
        before = _station_rows(unit, site_key, days)
        rows = _rows(
            found,
            days,
            before,
            site_key=site_key,
            wind_height_m=setup.wind_height_m or site.wind_height_m,
            issued_at=now,
        )
        changed_day = _first_change(rows, before)
        outcome = unit.weather.save_rows(rows, fetched_at=now)
        if changed_day is not None:
            unit.ledger.rewind(site_key=site_key, day=changed_day)
        note_import(unit, site_id, SOURCE, days, outcome)
    stored_days: list[date] = rows.days.tolist()
    return StationImport(
        outcome=outcome,
        first_day=stored_days[0] if stored_days else None,
        last_day=stored_days[-1] if stored_days else None,
        first_changed_day=changed_day,
        notes=dict(zip(stored_days, rows.field_notes, strict=True)),
    )


def _civil_days(span: tuple[int, int], zone: str) -> Days:
    """The civil days of a site that a span of instants touches."""
    first, last = (
        datetime.fromtimestamp(at, ZoneInfo(zone)).date() for at in (span[0], span[1] - 1)
    )
    return np.arange(np.datetime64(first), np.datetime64(last) + 1, dtype="datetime64[D]")


def _station_rows(unit: UnitOfWork, site_key: int, days: Days) -> WeatherRows:
    """The stored days of the station."""
    rows = unit.weather.read_rows(
        np.array([site_key], dtype=np.int64), first_day=days[0].item(), last_day=days[-1].item()
    )
    return taken_rows(rows, np.flatnonzero([source == SOURCE for source in rows.sources]))


def _rows(
    found: StationDays,
    days: Days,
    before: WeatherRows,
    *,
    site_key: int,
    wind_height_m: float,
    issued_at: datetime,
) -> WeatherRows:
    """One row per day with a value, and an empty one for days that had stored values."""
    place = np.searchsorted(found.days, days)
    place = np.minimum(place, found.days.size - 1)
    is_found = found.days[place] == days
    values = {
        name: np.where(is_found, found.fields[name][place], np.nan)
        if name in found.fields
        else np.full(days.size, np.nan)
        for name in WEATHER_FIELDS
    }
    has_value = np.array([np.isfinite(column) for column in values.values()]).any(axis=0)
    kept = np.flatnonzero(has_value | np.isin(days, before.days))
    notes = tuple(
        {name: each[place[row]] for name, each in found.notes.items() if each[place[row]]}
        if is_found[row]
        else {}
        for row in kept.tolist()
    )
    return WeatherRows(
        site_keys=np.full(kept.size, site_key, dtype=np.int64),
        days=days[kept],
        sources=(SOURCE,) * kept.size,
        kinds=("observed",) * kept.size,
        issued_at=(issued_at,) * kept.size,
        wind_height_m=np.full(kept.size, wind_height_m),
        fields={name: column[kept] for name, column in values.items()},
        field_notes=notes,
    )


def _first_change(rows: WeatherRows, before: WeatherRows) -> date | None:
    """First day whose values differ from those stored, None if none does."""
    place = np.searchsorted(before.days, rows.days)
    if before.days.size:
        place = np.minimum(place, before.days.size - 1)
        is_known = before.days[place] == rows.days
    else:
        is_known = np.zeros(len(rows), dtype=np.bool_)
    is_changed = ~is_known
    for ours, theirs in [
        (rows.wind_height_m, before.wind_height_m),
        *((rows.fields[name], before.fields[name]) for name in WEATHER_FIELDS),
    ]:
        known = np.flatnonzero(is_known)
        left, right = ours[known], theirs[place[known]]
        is_changed[known] |= ~((left == right) | (np.isnan(left) & np.isnan(right)))
    changed = np.flatnonzero(is_changed)
    return rows.days[changed[0]].item() if changed.size else None
