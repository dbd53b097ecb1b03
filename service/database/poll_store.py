"""When controllers asked for their programs last, in the database."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Connection, select

from service.database.bulk import is_one_of, upsert_rows
from service.database.column_types import instant_text
from service.database.tables import controller, controller_poll, farm


class PollStore:
    """The last poll of each controller."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def note(self, polls: Mapping[str, datetime]) -> None:
        """Store when controllers polled, by id; those that are not stored are left out."""
        keys = self._connection.execute(
            select(controller.c.controller_id, controller.c.controller_key).where(
                is_one_of(self._connection, controller.c.controller_id, list(polls))
            )
        )
        upsert_rows(
            self._connection,
            controller_poll,
            ("controller_key", "polled_at"),
            ((key, instant_text(polls[controller_id])) for controller_id, key in keys.all()),
        )

    def read_last(self, farm_id: str) -> dict[str, datetime]:
        """The last poll of each controller of a farm that is in use; without one it is missing."""
        rows = self._connection.execute(
            select(controller.c.controller_id, controller_poll.c.polled_at)
            .join(controller_poll, controller_poll.c.controller_key == controller.c.controller_key)
            .join(farm, farm.c.farm_key == controller.c.farm_key)
            .where(farm.c.farm_id == farm_id, controller.c.retired_at.is_(None))
            .order_by(controller.c.controller_id)
        )
        return {row.controller_id: row.polled_at for row in rows}
