"""Pauses in the database."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, insert, select, update

from service.agronomy.records import Ints, NoWaterPeriod
from service.database.bulk import is_among
from service.database.tables import block
from service.database.tables import pause as pause_table
from service.errors import NotFound
from service.records.feedback import Pause


class PauseStore:
    """Pauses of irrigation, by block."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, pause: Pause) -> None:
        """Store a pause; raises NotFound for an unknown block."""
        self._connection.execute(
            insert(pause_table).values(
                pause_id=pause.pause_id,
                block_key=self._block_key(pause.block_id),
                starts_local=pause.period.starts_local.isoformat(),
                ends_local=pause.period.ends_local.isoformat(),
                reason=pause.period.reason,
                reporter=pause.reporter,
                recorded_at=pause.recorded_at,
            )
        )

    def cancel(self, block_id: str, pause_id: str, *, at: datetime) -> bool:
        """Cancel a pause, as if it had never been made; False if it already was cancelled.

        Raises NotFound if the block has no such pause.
        """
        found = self._connection.execute(
            select(pause_table.c.pause_key, pause_table.c.cancelled_at).where(
                pause_table.c.pause_id == pause_id,
                pause_table.c.block_key == self._block_key(block_id),
            )
        ).one_or_none()
        if found is None:
            raise NotFound(f"block {block_id!r}: it has no pause {pause_id!r}")
        pause_key, cancelled_at = found
        if cancelled_at is not None:
            return False
        self._connection.execute(
            update(pause_table).where(pause_table.c.pause_key == pause_key).values(cancelled_at=at)
        )
        return True

    def list_pauses(self, block_id: str) -> list[Pause]:
        """Pauses of a block that are not cancelled, by start."""
        rows = self._connection.execute(
            select(pause_table, block.c.block_id)
            .join(block, block.c.block_key == pause_table.c.block_key)
            .where(block.c.block_id == block_id, pause_table.c.cancelled_at.is_(None))
            .order_by(pause_table.c.starts_local, pause_table.c.pause_key)
        ).mappings()
        return [
            Pause(
                pause_id=row["pause_id"],
                block_id=row["block_id"],
                period=_period(row["starts_local"], row["ends_local"], row["reason"]),
                reporter=row["reporter"],
                recorded_at=row["recorded_at"],
            )
            for row in rows
        ]

    def read_periods(self, block_keys: Ints) -> dict[int, tuple[NoWaterPeriod, ...]]:
        """The periods of these blocks that are not cancelled; blocks without any are missing."""
        rows = self._connection.execute(
            select(
                pause_table.c.block_key,
                pause_table.c.starts_local,
                pause_table.c.ends_local,
                pause_table.c.reason,
            )
            .where(
                pause_table.c.cancelled_at.is_(None),
                is_among(self._connection, pause_table.c.block_key, block_keys),
            )
            .order_by(pause_table.c.starts_local, pause_table.c.pause_key)
        )
        found: dict[int, tuple[NoWaterPeriod, ...]] = {}
        for block_key, starts, ends, reason in rows:
            found[block_key] = (*found.get(block_key, ()), _period(starts, ends, reason))
        return found

    def _block_key(self, block_id: str) -> int:
        key = self._connection.execute(
            select(block.c.block_key).where(block.c.block_id == block_id)
        ).scalar_one_or_none()
        if key is None:
            raise NotFound(f"block {block_id!r}: there is no such block")
        return int(key)


def _period(starts: str, ends: str, reason: str) -> NoWaterPeriod:
    return NoWaterPeriod(datetime.fromisoformat(starts), datetime.fromisoformat(ends), reason)
