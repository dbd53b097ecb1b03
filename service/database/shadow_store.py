"""Days on paper in the database: one packed row for a farm and day.

A region keeps one for every block and evening. Twenty-two bytes a block are a tenth of what rows of
their own would take, and an evening writes a tenth of the rows.
"""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, delete, select

from service.agronomy.records import Floats, Ints
from service.database.bulk import is_among, read_columns, upsert_rows
from service.database.tables import block, risk_notice, shadow_day
from service.records.shadow import SHADOW_NUMBERS, RiskNotice, ShadowRows

_PER_MM = 100.0
"""Depths are kept to a hundredth of a millimeter, in two bytes."""
_UNKNOWN = np.iinfo(np.uint16).max
PACKED_DAY = np.dtype(
    [
        ("block_key", "<i4"),
        ("guard", "u1"),
        ("flags", "u1"),
        *((name, "<u2") for name in SHADOW_NUMBERS),
    ]
)
"""A block's day as it is kept."""


class ShadowStore:
    """Days on paper by farm and day, and what growers were told of them."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def save(self, farm_keys: Ints, rows: ShadowRows) -> None:
        """Upsert whole days of farms: the rows of a farm and day replace all that it had.

        farm_keys: that of each row's block.
        """
        if not rows.block_keys.size:
            return
        order = np.lexsort((rows.block_keys, farm_keys, rows.days))
        packed = np.empty(order.size, dtype=PACKED_DAY)
        packed["block_key"] = rows.block_keys[order]
        packed["guard"], packed["flags"] = rows.guards[order], rows.flags[order]
        for name in SHADOW_NUMBERS:
            packed[name] = _whole(rows.numbers[name][order])
        farms, days = farm_keys[order], rows.days[order]
        begins = np.flatnonzero((np.diff(farms, prepend=-1) != 0) | _changes(days))
        ends = np.append(begins[1:], order.size)
        upsert_rows(
            self._connection,
            shadow_day,
            ("farm_key", "day", "blocks"),
            (
                (farm, day, packed[begin:end].tobytes())
                for farm, day, begin, end in zip(
                    farms[begins].tolist(),
                    np.datetime_as_string(days[begins]).tolist(),
                    begins.tolist(),
                    ends.tolist(),
                    strict=True,
                )
            ),
        )

    def read(self, farm_keys: Ints, *, first_day: date, last_day: date) -> ShadowRows:
        """The days of a span of all blocks of these farms, by day."""
        columns = read_columns(
            self._connection,
            select(shadow_day.c.day, shadow_day.c.blocks)
            .where(
                is_among(self._connection, shadow_day.c.farm_key, farm_keys),
                shadow_day.c.day.between(first_day, last_day),
            )
            .order_by(shadow_day.c.day),
        )
        blobs = columns.blobs("blocks")
        packed = np.frombuffer(b"".join(blobs), dtype=PACKED_DAY)
        counts = [len(blob) // PACKED_DAY.itemsize for blob in blobs]
        return ShadowRows(
            block_keys=packed["block_key"].astype(np.int64),
            days=np.repeat(columns.days("day"), counts),
            guards=packed["guard"].astype(np.int64),
            flags=packed["flags"].astype(np.int64),
            numbers={name: _depths(packed[name]) for name in SHADOW_NUMBERS},
        )

    def read_block(self, block_key: int, *, first_day: date, last_day: date) -> ShadowRows:
        """The days of a span of one block, by day."""
        farm_key = self._connection.execute(
            select(block.c.farm_key).where(block.c.block_key == block_key)
        ).scalar_one()
        rows = self.read(np.array([farm_key]), first_day=first_day, last_day=last_day)
        return rows.of_block(block_key)

    # --- what growers were told -----------------------------------------------------------------

    def read_notices(self, block_keys: Ints) -> dict[int, RiskNotice]:
        """What the growers of these blocks were told, by key of the block."""
        rows = self._connection.execute(
            select(risk_notice).where(
                is_among(self._connection, risk_notice.c.block_key, block_keys)
            )
        )
        return {
            key: RiskNotice(told_on=told_on, turns_on=turns_on) for key, told_on, turns_on in rows
        }

    def save_notice(self, block_key: int, notice: RiskNotice) -> None:
        """Note that the grower of a block was told; replaces an older notice."""
        upsert_rows(
            self._connection,
            risk_notice,
            ("block_key", "told_on", "turns_on"),
            [(block_key, notice.told_on.isoformat(), notice.turns_on.isoformat())],
        )

    def forget_notice(self, block_key: int) -> None:
        """Delete what the grower of a block was told, if anything."""
        self._connection.execute(delete(risk_notice).where(risk_notice.c.block_key == block_key))

    # --- retention ------------------------------------------------------------------------------

    def prune(self, *, before: date) -> int:
        """Delete days before this one; returns how many of all farms."""
        return self._connection.execute(
            delete(shadow_day).where(shadow_day.c.day < before)
        ).rowcount


def _changes(days: NDArray[np.datetime64]) -> NDArray[np.bool_]:
    changes = np.ones(days.size, dtype=np.bool_)
    changes[1:] = days[1:] != days[:-1]
    return changes


def _whole(depth_mm: Floats) -> NDArray[np.uint16]:
    known = np.isfinite(depth_mm)
    whole = np.clip(np.round(np.where(known, depth_mm, 0.0) * _PER_MM), 0, _UNKNOWN - 1)
    return np.where(known, whole, _UNKNOWN).astype(np.uint16)


def _depths(whole: NDArray[np.uint16]) -> Floats:
    return np.where(whole == _UNKNOWN, np.nan, whole / _PER_MM)
