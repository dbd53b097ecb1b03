"""Members of ensembles in the database: compact, and for as long as they are of use."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta

import numpy as np
from sqlalchemy import Connection, delete, func, select

from service.agronomy.member_calibration import LeadCorrection
from service.agronomy.records import Floats, Ints
from service.database.bulk import insert_into, is_among, upsert_rows
from service.database.tables import forecast_members, instant_text, source_weight
from service.records.forecast_members import StoredMembers

_COLUMNS = tuple(column.name for column in forecast_members.columns)
_PER_MM = 100.0
"""Rain and reference ET are kept to a hundredth of a millimetre, in two bytes."""
_MOST = np.iinfo(np.uint16).max


class MemberStore:
    """Members by site, model and the first day of their courses."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save(self, members: Sequence[StoredMembers]) -> None:
        """Upsert: what is fetched again for the same evening replaces what was there."""
        upsert_rows(self._connection, forecast_members, _COLUMNS, map(_row, members))

    def read(self, site_keys: Ints, *, first_day: date, last_day: date) -> list[StoredMembers]:
        """Those whose first day is in the span, by site, model and first day."""
        rows = self._connection.execute(
            select(forecast_members)
            .where(
                is_among(self._connection, forecast_members.c.site_key, site_keys),
                forecast_members.c.first_day.between(first_day, last_day),
            )
            .order_by(*forecast_members.primary_key)
        ).mappings()
        found = []
        for row in rows:
            values = dict(row)
            numbers, courses_mm = _unpacked(
                values.pop("courses"), values.pop("member_count"), values.pop("day_count")
            )
            correction = _correction(values.pop("correction"))
            found.append(
                StoredMembers(
                    **values,
                    numbers=numbers,
                    rain_mm=courses_mm[..., 0],
                    et0_mm=courses_mm[..., 1],
                    correction=correction,
                )
            )
        return found

    def list_fetched_at(self, site_keys: Ints) -> dict[int, datetime]:
        """When members of a site last came, by key; sites without any are missing."""
        rows = self._connection.execute(
            select(forecast_members.c.site_key, func.max(forecast_members.c.fetched_at))
            .where(is_among(self._connection, forecast_members.c.site_key, site_keys))
            .group_by(forecast_members.c.site_key)
        )
        return {int(key): at for key, at in rows}

    def stored_bytes(self, site_keys: Ints) -> int:
        """Size of the courses of some sites."""
        return int(
            self._connection.execute(
                select(func.coalesce(func.sum(func.length(forecast_members.c.courses)), 0)).where(
                    is_among(self._connection, forecast_members.c.site_key, site_keys)
                )
            ).scalar_one()
        )

    def prune(self, *, before: date) -> int:
        """Delete those whose first day is before; returns how many."""
        return self._connection.execute(
            delete(forecast_members).where(forecast_members.c.first_day < before)
        ).rowcount

    # --- what was asked for ---------------------------------------------------------------------

    def add_weight(self, source: str, *, hour: datetime, weight: float) -> None:
        """Note what requests to a source in an hour weighed."""
        statement = insert_into(self._connection.dialect.name, source_weight).values(
            source=source, hour=hour, weight=weight
        )
        self._connection.execute(
            statement.on_conflict_do_update(
                index_elements=["source", "hour"],
                set_={"weight": source_weight.c.weight + statement.excluded.weight},
            )
        )

    def spent_weight(self, source: str, *, since: datetime) -> float:
        """What requests to a source have weighed since the beginning of an hour."""
        return float(
            self._connection.execute(
                select(func.coalesce(func.sum(source_weight.c.weight), 0.0)).where(
                    source_weight.c.source == source, source_weight.c.hour >= since
                )
            ).scalar_one()
        )

    def prune_weights(self, *, before: datetime) -> int:
        """Forget what was asked before an hour; returns how many hours."""
        return self._connection.execute(
            delete(source_weight).where(source_weight.c.hour < before)
        ).rowcount


def _row(members: StoredMembers) -> tuple[object, ...]:
    return (
        members.site_key,
        members.model,
        members.first_day.isoformat(),
        instant_text(members.fetched_at),
        instant_text(members.first_seen_at),
        members.given_count,
        members.hole_count,
        members.frozen_count,
        members.rain_mm.shape[0],
        members.rain_mm.shape[1],
        _packed(members.numbers, np.stack([members.rain_mm, members.et0_mm], axis=-1)),
        None if members.correction is None else _packed_correction(members.correction),
    )


def _packed_correction(correction: LeadCorrection) -> bytes:
    """Its numbers in the order of their declaration, lead by lead."""
    table = np.stack([getattr(correction, part.name) for part in fields(correction)])
    return table.astype("<f4").tobytes()


def _correction(packed: bytes | None) -> LeadCorrection | None:
    if packed is None:
        return None
    names = [part.name for part in fields(LeadCorrection)]
    table = np.frombuffer(packed, dtype="<f4").reshape(len(names), -1).astype(np.float64)
    columns = dict(zip(names, table, strict=True))
    count = columns.pop("pair_count").astype(np.int64)
    return LeadCorrection(pair_count=count, **columns)


def _packed(numbers: Ints, courses_mm: Floats) -> bytes:
    """Numbers of the members, then their courses, (members, days, 2), column-wise."""
    whole = np.clip(np.round(courses_mm * _PER_MM), 0, _MOST).astype("<u2")
    return zlib.compress(numbers.astype("u1").tobytes() + np.ascontiguousarray(whole.T).tobytes())


def _unpacked(packed: bytes, member_count: int, day_count: int) -> tuple[Ints, Floats]:
    content = zlib.decompress(packed)
    numbers = np.frombuffer(content[:member_count], dtype="u1").astype(np.int64)
    whole = np.frombuffer(content[member_count:], dtype="<u2").reshape(2, day_count, member_count)
    return numbers, whole.T / _PER_MM


def hour_of(at: datetime) -> datetime:
    """The beginning of an hour."""
    return at - timedelta(minutes=at.minute, seconds=at.second, microseconds=at.microsecond)
