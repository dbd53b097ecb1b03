"""Forecasts as they were issued, by lead, and what was observed, in the database."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import orjson
from numpy.typing import NDArray
from sqlalchemy import Connection, delete, func, select

from service.agronomy.records import Floats, Ints
from service.database.bulk import is_among, read_columns, rows_of, upsert_rows
from service.database.tables import (
    forecast_issue,
    forecast_lead,
    forecast_place,
    forecast_truth,
    instant_text,
)
from service.records.forecasts import (
    LEAD_NUMBERS,
    LONGEST_LEAD_DAYS,
    ForecastIssue,
    ForecastPlace,
    LeadRows,
    TruthRows,
)

_LEAD_COLUMNS = ("site_key", "issued_on", "source", "member_count", "numbers")
_PACKED = np.dtype("<f4")
_TRUTH_NUMBERS = ("rain_mm", "et0_mm", "tmax_c")
_TRUTH_COLUMNS = (
    "site_key", "day", "farm_key", *_TRUTH_NUMBERS, "rain_origin", "et0_origin",
)  # fmt: skip
_ISSUE_COLUMNS = tuple(column.name for column in forecast_issue.columns)
_PLACE_COLUMNS = tuple(column.name for column in forecast_place.columns)


class ForecastStore:
    """The archive of issued forecasts."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # --- as issued -----------------------------------------------------------------------------

    def save_issues(self, issues: Sequence[ForecastIssue]) -> None:
        """Upsert by site, civil day of issue and source."""
        upsert_rows(self._connection, forecast_issue, _ISSUE_COLUMNS, map(_issue_row, issues))

    def list_issues(self, site_key: int, *, source: str | None = None) -> list[ForecastIssue]:
        """The forecasts of a site that are still kept as issued, by day, then source."""
        of_source = [] if source is None else [forecast_issue.c.source == source]
        rows = self._connection.execute(
            select(forecast_issue)
            .where(forecast_issue.c.site_key == site_key, *of_source)
            .order_by(forecast_issue.c.issued_on, forecast_issue.c.source)
        ).mappings()
        found = []
        for row in rows:
            values = dict(row)
            said = orjson.loads(zlib.decompress(values.pop("document")))
            found.append(
                ForecastIssue(
                    **values,
                    days=tuple(date.fromisoformat(day) for day in said["days"]),
                    fields={name: tuple(column) for name, column in said["fields"].items()},
                )
            )
        return found

    def list_issued_on(self, site_keys: Ints, *, source: str, first_day: date) -> dict[int, date]:
        """The last civil day since ``first_day`` with an issue of a source, by key of the site."""
        rows = self._connection.execute(
            select(forecast_issue.c.site_key, func.max(forecast_issue.c.issued_on))
            .where(
                is_among(self._connection, forecast_issue.c.site_key, site_keys),
                forecast_issue.c.source == source,
                forecast_issue.c.issued_on >= first_day,
            )
            .group_by(forecast_issue.c.site_key)
        )
        return {int(key): day for key, day in rows}

    def prune_issues(self, *, before: date) -> int:
        """Delete what was issued before a civil day; returns how many."""
        return self._connection.execute(
            delete(forecast_issue).where(forecast_issue.c.issued_on < before)
        ).rowcount

    # --- by lead -----------------------------------------------------------------------

    def save_leads(self, rows: LeadRows) -> None:
        """Upsert by site, civil day of issue and source; all leads of an issue belong together."""
        issued_on = rows.issued_on().astype("datetime64[D]")
        places: dict[tuple[int, str, str], list[int]] = {}
        for place, key in enumerate(
            zip(rows.site_keys.tolist(), issued_on.astype(str).tolist(), rows.sources, strict=True)
        ):
            places.setdefault(key, []).append(place)
        packed = []
        for (site_key, day, source), own in places.items():
            table = np.full((len(LEAD_NUMBERS), LONGEST_LEAD_DAYS), np.nan, dtype=_PACKED)
            leads = rows.lead_days[own] - 1
            for line, name in enumerate(LEAD_NUMBERS):
                table[line, leads] = rows.numbers[name][own]
            # Names at the end that a source does not give take no room.
            used = np.flatnonzero(np.isfinite(table).any(axis=1))
            table = table[: 1 + int(used.max(initial=0))]
            packed.append((site_key, day, source, int(rows.member_count[own[0]]), table.tobytes()))
        if packed:
            upsert_rows(self._connection, forecast_lead, _LEAD_COLUMNS, packed)

    def read_leads(
        self, site_keys: Ints, *, first_day: date, last_day: date, lead_days: int | None = None
    ) -> LeadRows:
        """What was forecast for the days of a span, by site, day of issue, source and lead."""
        columns = read_columns(
            self._connection,
            select(*(forecast_lead.c[name] for name in _LEAD_COLUMNS))
            .where(
                is_among(self._connection, forecast_lead.c.site_key, site_keys),
                forecast_lead.c.issued_on.between(
                    first_day - timedelta(days=LONGEST_LEAD_DAYS), last_day
                ),
            )
            .order_by(*forecast_lead.primary_key),
        )
        numbers = _unpacked(columns.blobs("numbers"))
        issue, lead = np.nonzero(np.isfinite(numbers).any(axis=1))
        days = columns.days("issued_on")[issue] + (lead + 1)
        wanted = (days >= np.datetime64(first_day)) & (days <= np.datetime64(last_day))
        if lead_days is not None:
            wanted &= lead + 1 == lead_days
        issue, lead = issue[wanted], lead[wanted]
        sources = columns.texts("source")
        return LeadRows(
            site_keys=columns.ints("site_key")[issue],
            days=days[wanted],
            sources=tuple(sources[place] for place in issue.tolist()),
            lead_days=(lead + 1).astype(np.int64),
            member_count=columns.ints("member_count")[issue],
            numbers={name: numbers[issue, line, lead] for line, name in enumerate(LEAD_NUMBERS)},
        )

    # --- what was observed ---------------------------------------------------------------------

    def save_truth(self, rows: TruthRows) -> int:
        """Upsert by site, day and farm; returns how many are new or differ from what is stored."""
        if not len(rows):
            return 0
        stored = self.read_truth(
            np.unique(rows.site_keys),
            first_day=rows.days.min().astype("datetime64[D]").item(),
            last_day=rows.days.max().astype("datetime64[D]").item(),
        )
        known = {key: place for place, key in enumerate(_truth_keys(stored))}
        found = np.array([known.get(key, -1) for key in _truth_keys(rows)], dtype=np.int64)
        is_same = found >= 0
        is_same[is_same] = _is_same_truth(rows, np.flatnonzero(is_same), stored, found[is_same])
        changed = np.flatnonzero(~is_same)
        if changed.size:
            columns = [rows.site_keys[changed], rows.days[changed], rows.farm_keys[changed]]
            columns += [getattr(rows, name)[changed] for name in _TRUTH_NUMBERS]
            texts = [
                [origins[place] for place in changed.tolist()]
                for origins in (rows.rain_origins, rows.et0_origins)
            ]
            upsert_rows(
                self._connection, forecast_truth, _TRUTH_COLUMNS, rows_of([*columns, *texts])
            )
        return int(changed.size)

    def read_truth(self, site_keys: Ints, *, first_day: date, last_day: date) -> TruthRows:
        """What was observed of the days of a span, by site, day and farm."""
        columns = read_columns(
            self._connection,
            select(*(forecast_truth.c[name] for name in _TRUTH_COLUMNS))
            .where(
                is_among(self._connection, forecast_truth.c.site_key, site_keys),
                forecast_truth.c.day.between(first_day, last_day),
            )
            .order_by(*forecast_truth.primary_key),
        )
        return TruthRows(
            site_keys=columns.ints("site_key"),
            days=columns.days("day"),
            farm_keys=columns.ints("farm_key"),
            rain_mm=columns.floats("rain_mm"),
            et0_mm=columns.floats("et0_mm"),
            tmax_c=columns.floats("tmax_c"),
            rain_origins=tuple(columns.texts("rain_origin")),
            et0_origins=tuple(columns.texts("et0_origin")),
        )

    # --- where ---------------------------------------------------------------------------------

    def list_places(self, site_keys: Ints | None = None) -> dict[int, ForecastPlace]:
        """Where sites were when their archives began, by key; of all sites unless given."""
        wanted = (
            []
            if site_keys is None
            else [is_among(self._connection, forecast_place.c.site_key, site_keys)]
        )
        rows = self._connection.execute(
            select(forecast_place).where(*wanted).order_by(forecast_place.c.site_key)
        ).mappings()
        return {row["site_key"]: ForecastPlace(**row) for row in rows}

    def save_places(self, places: Sequence[ForecastPlace]) -> None:
        """Upsert by site."""
        rows = [tuple(getattr(place, name) for name in _PLACE_COLUMNS) for place in places]
        upsert_rows(self._connection, forecast_place, _PLACE_COLUMNS, rows)


def _issue_row(issue: ForecastIssue) -> tuple[object, ...]:
    said = {
        "days": issue.days,
        "fields": {name: list(column) for name, column in issue.fields.items()},
    }
    packed = {
        "issued_on": issue.issued_on.isoformat(),
        "issued_at": instant_text(issue.issued_at),
        "fetched_at": instant_text(issue.fetched_at),
        "document": zlib.compress(orjson.dumps(said), 9),
    }
    return tuple(packed.get(name) or getattr(issue, name) for name in _ISSUE_COLUMNS)


def _unpacked(packed: Sequence[bytes]) -> Floats:
    """(issues, names, leads); NaN for names that were not there yet when a row was written."""
    found = np.full((len(packed), len(LEAD_NUMBERS), LONGEST_LEAD_DAYS), np.nan)
    for place, each in enumerate(packed):
        table = np.frombuffer(each, dtype=_PACKED).reshape(-1, LONGEST_LEAD_DAYS)
        found[place, : len(table)] = table
    return found


def _truth_keys(rows: TruthRows) -> list[tuple[int, int, int]]:
    numbers = rows.days.astype("datetime64[D]").astype(np.int64)
    return list(
        zip(rows.site_keys.tolist(), numbers.tolist(), rows.farm_keys.tolist(), strict=True)
    )


def _is_same_truth(
    rows: TruthRows, ours: Ints, stored: TruthRows, theirs: Ints
) -> NDArray[np.bool_]:
    same = np.ones(ours.shape, dtype=np.bool_)
    for name in _TRUTH_NUMBERS:
        left: Floats = getattr(rows, name)[ours]
        right: Floats = getattr(stored, name)[theirs]
        same &= (left == right) | (np.isnan(left) & np.isnan(right))
    for mine, kept in (
        (rows.rain_origins, stored.rain_origins),
        (rows.et0_origins, stored.et0_origins),
    ):
        pairs = zip(ours.tolist(), theirs.tolist(), strict=True)
        same &= np.array([mine[a] == kept[b] for a, b in pairs], dtype=np.bool_)
    return same
