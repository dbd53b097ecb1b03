"""Rain gauges read by hand: their readings, and the days of rain of each farm's own gauge."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import orjson
from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    func,
    insert,
    select,
    true,
    union,
    update,
)

from service.agronomy.records import Ints
from service.database import mapping
from service.database.bulk import is_among, read_columns, rows_of, upsert_rows
from service.database.change_mark_store import ChangeMarks
from service.database.tables import (
    block,
    block_version,
    county,
    farm,
    farm_rain_day,
    farm_site,
    instant_text,
    rain_gauge_reading,
    site,
)
from service.errors import NotFound
from service.records.farms import LoadOutcome
from service.records.feedback import GaugeReading
from service.records.weather import FarmRain

FARM_RAIN_TOPIC = "farm-rain"
"""The change mark of what farms read at their own gauges."""
_DAY_COLUMNS = ("farm_key", "site_key", "day", "rain_mm", "note", "recorded_at")


class RainStore:
    """Readings of rain gauges, and the rain of the days that farms read at their own."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def record_reading(self, reading: GaugeReading, *, recorded_at: datetime) -> LoadOutcome:
        """Store a reading; a changed one becomes a new version of it.

        Two readings of a gauge at the same instant are the same reading. Who reported it makes no
        difference. Raises NotFound for an unknown site or farm.
        """
        site_key = self._key(
            site.c.site_key, site.c.site_id == reading.site_id, "site", reading.site_id
        )
        farm_key = None
        if reading.farm_id is not None:
            farm_key = self._key(
                farm.c.farm_key, farm.c.farm_id == reading.farm_id, "farm", reading.farm_id
            )
        values = _reading_values(reading, site_key=site_key, farm_key=farm_key)
        before = (
            self._connection.execute(
                select(rain_gauge_reading).where(
                    _of_gauge(site_key, farm_key), rain_gauge_reading.c.read_at == reading.read_at
                )
            )
            .mappings()
            .one_or_none()
        )
        if before is not None:
            if all(before[name] == value for name, value in values.items() if name != "reporter"):
                return LoadOutcome(0, 0, 1)
            self._connection.execute(
                update(rain_gauge_reading)
                .where(rain_gauge_reading.c.reading_key == before["reading_key"])
                .values(superseded_at=recorded_at)
            )
        version = 1 if before is None else before["version"] + 1
        self._connection.execute(
            insert(rain_gauge_reading).values(**values, version=version, recorded_at=recorded_at)
        )
        return LoadOutcome(1, 0, 0) if before is None else LoadOutcome(0, 1, 0)

    def _key(
        self, key: ColumnElement[int], named: ColumnElement[bool], what: str, name: str
    ) -> int:
        found: int | None = self._connection.execute(select(key).where(named)).scalar_one_or_none()
        if found is None:
            raise NotFound(f"{what} {name!r}: there is no such {what}")
        return found

    def list_readings(
        self, site_key: int, *, farm_key: int | None, first_day: date, last_day: date
    ) -> list[GaugeReading]:
        """Current readings of one gauge whose period ends in the span, by time.

        ``farm_key`` None: the place's own gauge. The days are those of the site's zone. A reading
        at midnight belongs to the day it ends.
        """
        zone = self._connection.execute(
            select(site.c.zone).where(site.c.site_key == site_key)
        ).scalar_one_or_none()
        if zone is None:
            raise NotFound(f"site key {site_key}: there is no such site")
        begins, ends = (
            datetime.combine(day, time(), tzinfo=ZoneInfo(zone))
            for day in (first_day, last_day + timedelta(days=1))
        )
        rows = self._connection.execute(
            select(rain_gauge_reading, site.c.site_id, farm.c.farm_id)
            .join(site, site.c.site_key == rain_gauge_reading.c.site_key)
            .outerjoin(farm, farm.c.farm_key == rain_gauge_reading.c.farm_key)
            .where(
                _of_gauge(site_key, farm_key),
                rain_gauge_reading.c.read_at > begins,
                rain_gauge_reading.c.read_at <= ends,
            )
            .order_by(rain_gauge_reading.c.read_at)
        ).mappings()
        return [_reading_from(row) for row in rows]

    def find_sole_farms(self, site_keys: Ints) -> dict[int, int]:
        """Key of the one farm that names a site or ever drew on it, by key of the site.

        Sites of no farm, of several, or of a county are missing.
        """
        users = union(
            select(farm_site.c.site_key, farm_site.c.farm_key),
            select(block_version.c.site_key, block.c.farm_key).join(
                block, block.c.block_key == block_version.c.block_key
            ),
        ).subquery()
        rows = self._connection.execute(
            select(users.c.site_key, func.min(users.c.farm_key))
            .where(
                is_among(self._connection, users.c.site_key, site_keys),
                users.c.site_key.not_in(select(county.c.site_key)),
            )
            .group_by(users.c.site_key)
            .having(func.count() == 1)
        )
        return {int(site_key): int(farm_key) for site_key, farm_key in rows}

    # --- days of a farm's own gauge ------------------------------------------------------------

    def save_days(self, rain: FarmRain) -> None:
        """Upsert by (farm, site, day); NaN: no reading covers the day any more."""
        ChangeMarks(self._connection).bump(FARM_RAIN_TOPIC)
        upsert_rows(
            self._connection,
            farm_rain_day,
            _DAY_COLUMNS,
            rows_of(
                [
                    rain.farm_keys,
                    rain.site_keys,
                    rain.days,
                    rain.rain_mm,
                    [mapping.field_notes_text(note) for note in rain.notes],
                    [instant_text(at) for at in rain.recorded_at],
                ]
            ),
        )

    def read_days(self, site_keys: Ints, *, first_day: date, last_day: date) -> FarmRain:
        """The rain that farms read at these sites in the span, by site, day and farm."""
        columns = read_columns(
            self._connection,
            select(*(farm_rain_day.c[name] for name in _DAY_COLUMNS))
            .where(
                is_among(self._connection, farm_rain_day.c.site_key, site_keys),
                farm_rain_day.c.day.between(first_day, last_day),
            )
            .order_by(*farm_rain_day.primary_key),
        )
        return FarmRain(
            farm_keys=columns.ints("farm_key"),
            site_keys=columns.ints("site_key"),
            days=columns.days("day"),
            rain_mm=columns.floats("rain_mm"),
            recorded_at=tuple(columns.instants("recorded_at")),
            notes=tuple(orjson.loads(text) if text else {} for text in columns.texts("note")),
        )

    def list_last_days(self, site_keys: Ints, *, farm_key: int | None = None) -> dict[int, date]:
        """Last day with rain of farms' own gauges, or of one farm's, by key of the site."""
        of_farm = true() if farm_key is None else farm_rain_day.c.farm_key == farm_key
        rows = self._connection.execute(
            select(farm_rain_day.c.site_key, func.max(farm_rain_day.c.day))
            .where(
                is_among(self._connection, farm_rain_day.c.site_key, site_keys),
                farm_rain_day.c.rain_mm.is_not(None),
                of_farm,
            )
            .group_by(farm_rain_day.c.site_key)
        )
        return {int(site_key): day for site_key, day in rows}


def _of_gauge(site_key: int, farm_key: int | None) -> ColumnElement[bool]:
    """The current readings of a farm's gauge at a site, or (None) of the site's own."""
    of_farm = (
        rain_gauge_reading.c.farm_key.is_(None)
        if farm_key is None
        else rain_gauge_reading.c.farm_key == farm_key
    )
    is_current = rain_gauge_reading.c.superseded_at.is_(None)
    found: ColumnElement[bool] = (rain_gauge_reading.c.site_key == site_key) & of_farm & is_current
    return found


def _reading_values(
    reading: GaugeReading, *, site_key: int, farm_key: int | None
) -> dict[str, Any]:
    """Row of a rain-gauge reading, without its key, version and times of recording."""
    return {
        "site_key": site_key,
        "farm_key": farm_key,
        "read_at": reading.read_at,
        "covers_from": reading.covers_from,
        "rain_mm": float(reading.rain_mm),
        "kind": reading.kind,
        "note": reading.note,
        "reporter": reading.reporter,
    }


def _reading_from(row: RowMapping) -> GaugeReading:
    """A rain-gauge reading; the row carries the ids of the site and the farm."""
    return GaugeReading(
        site_id=row["site_id"],
        farm_id=row["farm_id"],
        read_at=row["read_at"],
        covers_from=row["covers_from"],
        rain_mm=row["rain_mm"],
        kind=row["kind"],
        note=row["note"],
        reporter=row["reporter"],
    )
