"""Soil readings in the database."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

import numpy as np
from sqlalchemy import Connection, RowMapping, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among, is_one_of, read_columns
from service.database.tables import block, soil_reading
from service.errors import NotFound
from service.records.farms import LoadOutcome
from service.records.feedback import DepletionReadings, SoilReading

_SAID = (
    "read_at",
    "day",
    "is_evening",
    "kind",
    "volumetric_water",
    "tension_kpa",
    "top_depth_m",
    "bottom_depth_m",
    "depletion_reading_mm",
    "weight_fraction",
    "note",
)


class SoilStore:
    """Soil readings by block and instant."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def record(self, reading: SoilReading, *, recorded_at: datetime) -> LoadOutcome:
        """Store a reading, replacing one for the same block and instant."""
        return self.record_all([reading], recorded_at=recorded_at)[0]

    def record_all(
        self, readings: Sequence[SoilReading], *, recorded_at: datetime
    ) -> tuple[LoadOutcome, list[SoilReading]]:
        """Store readings of different blocks or instants, as :meth:`record` does each of them.

        Returns the counts, and those that are new or changed.
        """
        keys = self._block_keys(readings)
        before = self._stored(keys, readings)
        created: list[SoilReading] = []
        changed: list[SoilReading] = []
        rows = []
        for reading in readings:
            values = {name: getattr(reading, name) for name in _SAID}
            who = {"reporter": reading.reporter, "recorded_at": recorded_at}
            stored = before.get((keys[reading.block_id], reading.read_at))
            if stored is None:
                rows.append({"block_key": keys[reading.block_id], **values, **who})
                created.append(reading)
            elif any(stored[name] != value for name, value in values.items()):
                self._connection.execute(
                    update(soil_reading)
                    .where(soil_reading.c.reading_key == stored["reading_key"])
                    .values(**values, **who)
                )
                changed.append(reading)
        if rows:
            self._connection.execute(insert(soil_reading), rows)
        unchanged_count = len(readings) - len(created) - len(changed)
        outcome = LoadOutcome(len(created), len(changed), unchanged_count)
        return outcome, [*created, *changed]

    def _block_keys(self, readings: Sequence[SoilReading]) -> dict[str, int]:
        names = sorted({reading.block_id for reading in readings})
        found = self._connection.execute(
            select(block.c.block_id, block.c.block_key).where(
                is_one_of(self._connection, block.c.block_id, names)
            )
        )
        keys = {row.block_id: row.block_key for row in found}
        for name in names:
            if name not in keys:
                raise NotFound(f"block {name!r}: there is no such block")
        return keys

    def _stored(
        self, keys: Mapping[str, int], readings: Sequence[SoilReading]
    ) -> dict[tuple[int, datetime], RowMapping]:
        """The readings of these blocks in the time from the first of the given to the last."""
        if not readings:
            return {}
        times = [reading.read_at for reading in readings]
        rows = self._connection.execute(
            select(soil_reading).where(
                is_among(
                    self._connection,
                    soil_reading.c.block_key,
                    np.array(sorted(keys.values()), dtype=np.int64),
                ),
                soil_reading.c.read_at.between(min(times), max(times)),
            )
        )
        return {(row["block_key"], row["read_at"]): row for row in rows.mappings()}

    def list_readings(self, block_id: str, *, first_day: date, last_day: date) -> list[SoilReading]:
        """Readings of a block in the span, by time."""
        rows = self._connection.execute(
            select(
                block.c.block_id,
                *(soil_reading.c[name] for name in _SAID),
                soil_reading.c.reporter,
            )
            .join(block, block.c.block_key == soil_reading.c.block_key)
            .where(block.c.block_id == block_id, soil_reading.c.day.between(first_day, last_day))
            .order_by(soil_reading.c.read_at)
        ).mappings()
        return [SoilReading(**row) for row in rows]

    def read_depletions(
        self, block_keys: Ints, *, first_day: date, last_day: date
    ) -> DepletionReadings:
        """Depletions from the readings of these blocks in the span, by time."""
        columns = read_columns(
            self._connection,
            select(
                soil_reading.c.block_key,
                soil_reading.c.day,
                soil_reading.c.is_evening,
                soil_reading.c.depletion_reading_mm,
                soil_reading.c.weight_fraction,
            )
            .where(
                soil_reading.c.day.between(first_day, last_day),
                is_among(self._connection, soil_reading.c.block_key, block_keys),
            )
            .order_by(soil_reading.c.read_at),
        )
        return DepletionReadings(
            block_keys=columns.ints("block_key"),
            days=columns.days("day"),
            is_evening=columns.flags("is_evening"),
            depletion_reading_mm=columns.floats("depletion_reading_mm"),
            weight_fraction=columns.floats("weight_fraction"),
        )
