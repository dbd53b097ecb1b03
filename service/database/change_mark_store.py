"""Marks of change in the database: what a process asks to learn whether its copies still stand."""

from __future__ import annotations

from sqlalchemy import Connection, select

from service.database.bulk import insert_into
from service.database.tables import change_mark


class ChangeMarks:
    """Counts how often things of a kind have changed, so that processes know when to look again.

    Topics in use: ``programs``, ``plans``, ``keys``.

    Writers have the write lock from the beginning, so the counts rise in the order in which their
    transactions become visible: whoever sees a count sees all that was changed under it.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def bump(self, topic: str) -> None:
        """Say that something of the topic has changed, in the transaction that changes it."""
        first = insert_into(self._connection.dialect.name, change_mark).values(
            topic=topic, change_count=1
        )
        self._connection.execute(
            first.on_conflict_do_update(
                index_elements=["topic"],
                set_={"change_count": change_mark.c.change_count + 1},
            )
        )

    def read_all(self) -> dict[str, int]:
        """The count of every topic that ever changed."""
        rows = self._connection.execute(select(change_mark.c.topic, change_mark.c.change_count))
        return {row.topic: row.change_count for row in rows}
