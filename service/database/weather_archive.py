"""Weather by site, day, source and kind in the database."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, Connection, and_, case, func, or_, select

from service.agronomy.records import Days, Ints
from service.database import mapping
from service.database.bulk import is_among, read_columns, rows_of, upsert_rows
from service.database.change_mark_store import ChangeMarks
from service.database.tables import (
    block,
    block_version,
    farm,
    instant_text,
    site,
    weather_day,
)
from service.records.farms import LoadOutcome
from service.records.weather import FIELD_GROUPS, WEATHER_FIELDS, SiteFreshness, WeatherRows

COUNTIES_TOPIC = "counties"
"""The change mark of what counties are compared by: their weather, and which there are."""
_COLUMNS = (
    "site_key",
    "day",
    "source",
    "kind",
    "issued_at",
    "fetched_at",
    "wind_height_m",
    "field_notes",
    *WEATHER_FIELDS,
)


class WeatherArchive:
    """Weather by (site, day, source, kind)."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save_rows(self, rows: WeatherRows, *, fetched_at: datetime) -> LoadOutcome:
        """Upsert; rows whose stored values are the same count as unchanged.

        An unchanged row still gets a different ``issued_at``: the same forecast issued again is a
        newer forecast. Of rows with the same site, day, source and kind the last one counts.
        """
        if len(rows) == 0:
            return LoadOutcome(0, 0, 0)
        last = {key: index for index, key in enumerate(_row_keys(rows))}
        chosen = np.fromiter(last.values(), dtype=np.int64, count=len(last))
        stored = self.read_rows(
            np.unique(rows.site_keys),
            first_day=rows.days.min().astype("datetime64[D]").item(),
            last_day=rows.days.max().astype("datetime64[D]").item(),
        )
        place = {key: index for index, key in enumerate(_row_keys(stored))}
        found = np.array([place.get(key, -1) for key in last], dtype=np.int64)
        is_new = found < 0
        ours, theirs = chosen[~is_new], found[~is_new]

        is_equal = _is_same(rows.wind_height_m[ours], stored.wind_height_m[theirs])
        for name in WEATHER_FIELDS:
            is_equal &= _is_same(rows.fields[name][ours], stored.fields[name][theirs])
        if rows.field_notes:
            is_equal &= np.array(
                [
                    rows.field_notes[a] == stored.field_notes[b]
                    for a, b in zip(ours.tolist(), theirs.tolist(), strict=True)
                ],
                dtype=np.bool_,
            )
        is_same_issue = np.array(
            [
                rows.issued_at[a] == stored.issued_at[b]
                for a, b in zip(ours.tolist(), theirs.tolist(), strict=True)
            ],
            dtype=np.bool_,
        )
        written = np.concatenate([chosen[is_new], ours[~(is_equal & is_same_issue)]])
        self._write(rows, np.sort(written), fetched_at)
        return LoadOutcome(
            created_count=int(is_new.sum()),
            changed_count=int((~is_equal).sum()),
            unchanged_count=int(is_equal.sum()),
            first_change=_first_changes(
                rows, np.concatenate([chosen[is_new], ours[~is_equal]]).tolist()
            ),
        )

    def _write(self, rows: WeatherRows, chosen: Ints, fetched_at: datetime) -> None:
        if chosen.size == 0:
            return
        ChangeMarks(self._connection).bump(COUNTIES_TOPIC)
        picked = chosen.tolist()
        issued = {at: instant_text(at) for at in set(rows.issued_at)}
        upsert_rows(
            self._connection,
            weather_day,
            _COLUMNS,
            rows_of(
                [
                    rows.site_keys[chosen],
                    rows.days[chosen],
                    [rows.sources[index] for index in picked],
                    [rows.kinds[index] for index in picked],
                    [issued[rows.issued_at[index]] for index in picked],
                    instant_text(fetched_at),
                    rows.wind_height_m[chosen],
                    [
                        mapping.field_notes_text(rows.field_notes[index])
                        if rows.field_notes
                        else None
                        for index in picked
                    ],
                    *(rows.fields[name][chosen] for name in WEATHER_FIELDS),
                ]
            ),
        )

    def read_rows(self, site_keys: Ints, *, first_day: date, last_day: date) -> WeatherRows:
        """Every row of these sites in the span, by site, day, source and kind."""
        columns = read_columns(
            self._connection,
            select(*(weather_day.c[name] for name in _COLUMNS))
            .where(
                is_among(self._connection, weather_day.c.site_key, site_keys),
                weather_day.c.day.between(first_day, last_day),
            )
            .order_by(*weather_day.primary_key),
        )
        return mapping.weather_rows(columns)

    def list_measured_days(
        self, site_keys: Ints, *, first_day: date, last_day: date
    ) -> tuple[Ints, Days]:
        """Site and day of every day of the span whose temperatures were observed or analysed."""
        columns = read_columns(
            self._connection,
            select(weather_day.c.site_key, weather_day.c.day)
            .where(
                is_among(self._connection, weather_day.c.site_key, site_keys),
                weather_day.c.day.between(first_day, last_day),
                weather_day.c.kind != "forecast",
                weather_day.c.tmax_c.is_not(None),
                weather_day.c.tmin_c.is_not(None),
            )
            .distinct()
            .order_by(weather_day.c.site_key, weather_day.c.day),
        )
        return columns.ints("site_key"), columns.days("day")

    def find_span(self, site_key: int, *, kind: str) -> tuple[date, date] | None:
        """First and last day with temperatures of the kind, or None."""
        first_day, last_day = self._connection.execute(
            select(func.min(weather_day.c.day), func.max(weather_day.c.day)).where(
                weather_day.c.site_key == site_key,
                weather_day.c.kind == kind,
                _has_group("temperature"),
            )
        ).one()
        return None if first_day is None else (first_day, last_day)

    def list_first_places(self) -> dict[str, int]:
        """By farm id, the rank of its southernmost place among those of all farms.

        Farms of one rank share it; near ranks are near each other, and read the same neighbors.
        """
        first = func.min(site.c.latitude_deg * 1000.0 + site.c.site_key / 1.0e6)
        rows = self._connection.execute(
            select(farm.c.farm_id, first.label("place"))
            .join_from(farm, block, block.c.farm_key == farm.c.farm_key)
            .join(block_version, block_version.c.block_key == block.c.block_key)
            .join(site, site.c.site_key == block_version.c.site_key)
            .group_by(farm.c.farm_id)
            .order_by("place")
        ).all()
        places = np.unique([row.place for row in rows], return_inverse=True)[1]
        return {row.farm_id: int(rank) for row, rank in zip(rows, places, strict=True)}

    def list_spans(self, site_keys: Ints) -> dict[int, list[tuple[str, date, date]]]:
        """Kinds of weather with the first and last day that has temperatures, by site."""
        rows = self._connection.execute(
            select(
                weather_day.c.site_key,
                weather_day.c.kind,
                func.min(weather_day.c.day),
                func.max(weather_day.c.day),
            )
            .where(
                is_among(self._connection, weather_day.c.site_key, site_keys),
                _has_group("temperature"),
            )
            .group_by(weather_day.c.site_key, weather_day.c.kind)
            .order_by(weather_day.c.site_key, weather_day.c.kind)
        )
        found: dict[int, list[tuple[str, date, date]]] = {}
        for site_key, *span in rows:
            found.setdefault(site_key, []).append((span[0], span[1], span[2]))
        return found

    def list_freshness(self, site_keys: Ints, *, first_day: date) -> list[SiteFreshness]:
        """How far the weather of these sites reaches, in the order of the keys.

        Days before ``first_day`` count only for temperatures that were not measured since.
        """
        rows = self._connection.execute(
            select(
                weather_day.c.site_key,
                weather_day.c.kind,
                func.max(case((_has_group("temperature"), weather_day.c.issued_at))),
                *(_last_day_with(group) for group in FIELD_GROUPS),
            )
            .where(
                is_among(self._connection, weather_day.c.site_key, site_keys),
                weather_day.c.day >= first_day,
            )
            .group_by(weather_day.c.site_key, weather_day.c.kind)
        )
        measured: dict[int, dict[str, date]] = {key: {} for key in site_keys.tolist()}
        forecast: dict[int, tuple[date | None, datetime | None]] = {}
        for site_key, kind, issued_at, *last_days in rows:
            days = dict(zip(FIELD_GROUPS, last_days, strict=True))
            if kind == "forecast":
                forecast[site_key] = (days["temperature"], issued_at)
                continue
            for group, day in days.items():
                if day is not None:
                    known = measured[site_key]
                    known[group] = max(day, known.get(group, day))
        earlier = self._earlier_temperatures(
            [key for key, days in measured.items() if "temperature" not in days], first_day
        )
        return [
            SiteFreshness(earlier.get(key, {}) | measured[key], *forecast.get(key, (None, None)))
            for key in site_keys.tolist()
        ]

    def _earlier_temperatures(
        self, site_keys: list[int], first_day: date
    ) -> dict[int, dict[str, date]]:
        """The last day before ``first_day`` with measured temperatures, by key of the site."""
        if not site_keys:
            return {}
        day = weather_day.c.day
        of_site = (
            select(day)
            .where(
                weather_day.c.site_key == site.c.site_key,
                weather_day.c.kind != "forecast",
                day < first_day,
                _has_group("temperature"),
            )
            .order_by(day.desc())
            .limit(1)
            .scalar_subquery()
        )
        wanted = is_among(self._connection, site.c.site_key, np.array(site_keys, dtype=np.int64))
        rows = self._connection.execute(select(site.c.site_key, of_site).where(wanted))
        return {key: {"temperature": found} for key, found in rows if found is not None}


def _has_group(group: str) -> ColumnElement[bool]:
    is_known = [weather_day.c[name].is_not(None) for name in FIELD_GROUPS[group]]
    return and_(*is_known) if group == "temperature" else or_(*is_known)


def _last_day_with(group: str) -> ColumnElement[date]:
    return func.max(case((_has_group(group), weather_day.c.day)))


def _first_changes(rows: WeatherRows, changed: list[int]) -> dict[int, date]:
    """By site key, the first day of the changed rows that are not forecasts."""
    first: dict[int, date] = {}
    for row in changed:
        if rows.kinds[row] == "forecast":
            continue
        site_key, day = int(rows.site_keys[row]), rows.days[row].astype("datetime64[D]").item()
        first[site_key] = min(day, first.get(site_key, day))
    return first


def _row_keys(rows: WeatherRows) -> list[tuple[int, int, str, str]]:
    day_numbers = rows.days.astype("datetime64[D]").astype(np.int64)
    return list(
        zip(rows.site_keys.tolist(), day_numbers.tolist(), rows.sources, rows.kinds, strict=True)
    )


def _is_same(left: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.bool_]:
    same: NDArray[np.bool_] = (left == right) | (np.isnan(left) & np.isnan(right))
    return same
