"""Counts of requests that several processes share, in the database.

One row per counter, whose window begins with the first count that is stored and is by the clock of
the database. Adding is one statement, in the order of counters, and needs no lock. On PostgreSQL
the table is not logged: what a crash of the server loses is a minute's count.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlalchemy import Connection, case, delete, select

from service.database.bulk import insert_into
from service.database.tables import request_tally
from service.records.access import RequestTally


class TallyStore:
    """What all processes have counted."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, counts: Mapping[str, RequestTally], *, now: datetime) -> dict[str, RequestTally]:
        """Add counts by counter, each to the window that has not ended; returns the sums.

        A counter whose window is over begins the one that is given.
        """
        insertion = insert_into(self._connection.dialect.name, request_tally).values(
            [
                {
                    "counter": counter,
                    "ends_at": now + timedelta(seconds=counts[counter].ends_in_s),
                    "request_count": counts[counter].request_count,
                }
                for counter in sorted(counts)
            ]
        )
        is_over = request_tally.c.ends_at <= now
        excluded = insertion.excluded
        rows = self._connection.execute(
            insertion.on_conflict_do_update(
                index_elements=["counter"],
                set_={
                    "ends_at": case((is_over, excluded.ends_at), else_=request_tally.c.ends_at),
                    "request_count": case(
                        (is_over, excluded.request_count),
                        else_=request_tally.c.request_count + excluded.request_count,
                    ),
                },
            ).returning(
                request_tally.c.counter, request_tally.c.request_count, request_tally.c.ends_at
            )
        )
        return {
            counter: RequestTally(count, (ends_at - now).total_seconds())
            for counter, count, ends_at in rows
        }

    def prune(self, *, now: datetime) -> int:
        """Delete counts whose window is over; returns how many."""
        over = (
            select(request_tally.c.counter)
            .where(request_tally.c.ends_at <= now)
            .with_for_update(skip_locked=True)
        )
        return self._connection.execute(
            delete(request_tally).where(request_tally.c.counter.in_(over))
        ).rowcount
