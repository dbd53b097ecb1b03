"""Soil readings in the database."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among, read_columns
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
        block_key = self._connection.execute(
            select(block.c.block_key).where(block.c.block_id == reading.block_id)
        ).scalar_one_or_none()
        if block_key is None:
            raise NotFound(f"block {reading.block_id!r}: there is no such block")
        values: dict[str, Any] = {name: getattr(reading, name) for name in _SAID}
        before = (
            self._connection.execute(
                select(soil_reading).where(
                    soil_reading.c.block_key == block_key,
                    soil_reading.c.read_at == reading.read_at,
                )
            )
            .mappings()
            .one_or_none()
        )
        who = {"reporter": reading.reporter, "recorded_at": recorded_at}
        if before is None:
            self._connection.execute(
                insert(soil_reading).values(block_key=block_key, **values, **who)
            )
            return LoadOutcome(1, 0, 0)
        if all(before[name] == value for name, value in values.items()):
            return LoadOutcome(0, 0, 1)
        self._connection.execute(
            update(soil_reading)
            .where(soil_reading.c.reading_key == before["reading_key"])
            .values(**values, **who)
        )
        return LoadOutcome(0, 1, 0)

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
