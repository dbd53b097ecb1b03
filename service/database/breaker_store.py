"""Breaker states in the database, shared by all processes."""

from __future__ import annotations

from sqlalchemy import Connection, RowMapping, select

from service.database.bulk import insert_into
from service.database.tables import breaker
from service.records.weather import BreakerState


class BreakerStore:
    """Breaker states shared by all processes."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def read(self, key: str) -> BreakerState:
        """The state; closed if nothing is stored."""
        row = (
            self._connection.execute(select(breaker).where(breaker.c.breaker_key == key))
            .mappings()
            .one_or_none()
        )
        if row is None:
            return BreakerState(
                key=key, failure_count=0, window_began_at=None, open_until=None, last_reason=""
            )
        return _state_from(row)

    def write(self, state: BreakerState) -> None:
        """Store a state under its key, replacing the previous one."""
        values = {
            "failure_count": state.failure_count,
            "window_began_at": state.window_began_at,
            "open_until": state.open_until,
            "last_reason": state.last_reason,
        }
        self._connection.execute(
            insert_into(self._connection.dialect.name, breaker)
            .values(breaker_key=state.key, **values)
            .on_conflict_do_update(index_elements=["breaker_key"], set_=values)
        )

    def list_states(self) -> list[BreakerState]:
        """All stored states, by key."""
        rows = self._connection.execute(select(breaker)).mappings()
        return sorted(map(_state_from, rows), key=lambda state: state.key)


def _state_from(row: RowMapping) -> BreakerState:
    return BreakerState(
        key=row["breaker_key"],
        failure_count=row["failure_count"],
        window_began_at=row["window_began_at"],
        open_until=row["open_until"],
        last_reason=row["last_reason"],
    )
