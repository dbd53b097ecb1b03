"""Change marks in the database, which tell a process whether its cached copies are current."""

from __future__ import annotations

from sqlalchemy import Connection, select

from service.database.bulk import insert_into
from service.database.tables import change_mark


class ChangeMarks:
    """Counts changes by topic, so that processes know when to read again.

    Topics in use: ``counties``, ``farm-rain``, ``keys``, ``runs``, ``plans``, ``programs``.

    The row of a topic stays locked from its bump to the end of the transaction, so the counts rise
    in the order in which transactions become visible: a process that sees a count sees everything
    that was changed under it. Others who change the topic wait meanwhile, so a bump belongs at the
    end. Units that bump several topics do so in the order above, lest two wait for each other.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def bump(self, topic: str) -> int:
        """Record a change in a topic, in the transaction that makes the change; its new count."""
        first = insert_into(self._connection.dialect.name, change_mark).values(
            topic=topic, change_count=1
        )
        count: int = self._connection.execute(
            first.on_conflict_do_update(
                index_elements=["topic"],
                set_={"change_count": change_mark.c.change_count + 1},
            ).returning(change_mark.c.change_count)
        ).scalar_one()
        return count

    def read_all(self) -> dict[str, int]:
        """The count of every topic that has ever changed."""
        rows = self._connection.execute(select(change_mark.c.topic, change_mark.c.change_count))
        return {row.topic: row.change_count for row in rows}
