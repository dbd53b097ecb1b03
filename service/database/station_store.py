"""Growers' stations in the database: how they are set up and what they measured."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import orjson
from numpy.typing import NDArray
from sqlalchemy import Connection, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import read_columns, rows_of, upsert_rows
from service.database.tables import station, station_file, station_interval
from service.records.weather import STATION_FIELDS, StationIntervals, StationSetup

_INTERVAL_COLUMNS = ("site_key", "start_epoch_s", "end_epoch_s", "file_key", *STATION_FIELDS)
_SHORTEST_DAY_S = 23 * 3600
"""Intervals at least this long are days, stored along with the hours that make them up."""


class StationStore:
    """Set-up of growers' stations, and their measurements by interval."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def find_setup(self, site_key: int) -> StationSetup | None:
        """The stored set-up of a site's station."""
        row = (
            self._connection.execute(select(station).where(station.c.site_key == site_key))
            .mappings()
            .one_or_none()
        )
        if row is None:
            return None
        return StationSetup(
            clock=row["clock"],
            stamp=row["stamp"],
            wind_height_m=row["wind_height_m"],
            radiation=row["radiation"],
            columns=orjson.loads(row["columns"]),
        )

    def save_setup(self, site_key: int, setup: StationSetup) -> None:
        """Store it, replacing the previous one."""
        values = {
            "clock": setup.clock,
            "stamp": setup.stamp,
            "wind_height_m": setup.wind_height_m,
            "radiation": setup.radiation,
            "columns": orjson.dumps(dict(setup.columns), option=orjson.OPT_SORT_KEYS).decode(),
        }
        changed = self._connection.execute(
            update(station).where(station.c.site_key == site_key).values(**values)
        ).rowcount
        if not changed:
            self._connection.execute(insert(station).values(site_key=site_key, **values))

    def replace_intervals(
        self, site_key: int, intervals: StationIntervals, *, sha256: str, recorded_at: datetime
    ) -> tuple[int, int]:
        """Store the intervals of a file and forget what they replace.

        It replaces what the same file brought before, and every interval of similar length that
        overlaps a new one; a day and its hours are kept side by side. Returns the first and last
        instant touched, in seconds since 1970 UTC.
        """
        file_key = self._file_key(site_key, sha256, recorded_at)
        stored = read_columns(
            self._connection,
            select(
                station_interval.c.start_epoch_s,
                station_interval.c.end_epoch_s,
                station_interval.c.file_key,
            ).where(
                station_interval.c.site_key == site_key,
                (station_interval.c.file_key == file_key)
                | (
                    (station_interval.c.start_epoch_s < int(intervals.end_epoch_s.max()))
                    & (station_interval.c.end_epoch_s > int(intervals.start_epoch_s.min()))
                ),
            ),
        )
        starts, ends = stored.ints("start_epoch_s"), stored.ints("end_epoch_s")
        is_replaced = (stored.ints("file_key") == file_key) | _overlaps(starts, ends, intervals)
        gone = np.flatnonzero(is_replaced)
        if gone.size:
            holder = "?" if self._connection.dialect.name == "sqlite" else "%s"
            self._connection.exec_driver_sql(
                f"DELETE FROM station_interval WHERE site_key = {holder}"
                f" AND start_epoch_s = {holder} AND end_epoch_s = {holder}",
                [(site_key, starts[row].item(), ends[row].item()) for row in gone],
            )
        upsert_rows(
            self._connection,
            station_interval,
            _INTERVAL_COLUMNS,
            rows_of(
                [
                    site_key,
                    intervals.start_epoch_s,
                    intervals.end_epoch_s,
                    file_key,
                    *(intervals.fields[name] for name in STATION_FIELDS),
                ]
            ),
        )
        return (
            int(min([intervals.start_epoch_s.min(), *starts[gone]])),
            int(max([intervals.end_epoch_s.max(), *ends[gone]])),
        )

    def _file_key(self, site_key: int, sha256: str, recorded_at: datetime) -> int:
        is_file = (station_file.c.site_key == site_key) & (station_file.c.sha256 == sha256)
        found: int | None = self._connection.execute(
            select(station_file.c.file_key).where(is_file)
        ).scalar_one_or_none()
        if found is not None:
            self._connection.execute(
                update(station_file).where(is_file).values(recorded_at=recorded_at)
            )
            return found
        key: int = self._connection.execute(
            insert(station_file)
            .values(site_key=site_key, sha256=sha256, recorded_at=recorded_at)
            .returning(station_file.c.file_key)
        ).scalar_one()
        return key

    def read_intervals(
        self, site_key: int, *, start_epoch_s: int, end_epoch_s: int
    ) -> StationIntervals:
        """Every interval that overlaps the span, by start."""
        rows = read_columns(
            self._connection,
            select(*(station_interval.c[n] for n in _INTERVAL_COLUMNS if n != "file_key"))
            .where(
                station_interval.c.site_key == site_key,
                station_interval.c.start_epoch_s < end_epoch_s,
                station_interval.c.end_epoch_s > start_epoch_s,
            )
            .order_by(station_interval.c.start_epoch_s, station_interval.c.end_epoch_s),
        )
        return StationIntervals(
            start_epoch_s=rows.ints("start_epoch_s"),
            end_epoch_s=rows.ints("end_epoch_s"),
            fields={name: rows.floats(name) for name in STATION_FIELDS},
        )


def _overlaps(starts: Ints, ends: Ints, new: StationIntervals) -> NDArray[np.bool_]:
    """Which stored intervals overlap a new one of similar length: days with days, hours with
    hours.
    """
    result = np.zeros(starts.size, dtype=np.bool_)
    is_day, is_new_day = ends - starts >= _SHORTEST_DAY_S, _length(new) >= _SHORTEST_DAY_S
    for ours, theirs in ((is_day, is_new_day), (~is_day, ~is_new_day)):
        begins, closes = new.start_epoch_s[theirs], new.end_epoch_s[theirs]
        if not begins.size:
            continue
        # The new ones ascend without overlap, so the first that ends later decides.
        place = np.searchsorted(closes, starts[ours], side="right")
        is_inside = place < begins.size
        place = np.minimum(place, begins.size - 1)
        result[ours] = is_inside & (begins[place] < ends[ours])
    return result


def _length(intervals: StationIntervals) -> Ints:
    length: Ints = intervals.end_epoch_s - intervals.start_epoch_s
    return length
