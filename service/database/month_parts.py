"""Parts of the tables that grow by rows for each block and day, a part for each month.

On PostgreSQL a row goes to the part of its month by itself. An index over all years has the days of
a block side by side, so that an evening changes a page of it for every block; the index of a month
holds many blocks in a page. SQLite keeps a table in one piece.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import pairwise
from typing import Final

from sqlalchemy import Connection, Table, text

from service.database.tables import balance_day, metadata, plan

PARTED: Final = (plan, balance_day)
MONTHS_AHEAD: Final = 2
"""[CHOICE] Months made ready before they begin: a scheduler may be away for some time."""


def prepare_months(connection: Connection, *, today: date) -> int:
    """Make the parts of the coming months that are missing; how many.

    The month of ``today`` is made too if no part holds it. Rows of such days that have come before
    their part are moved into it.
    """
    if connection.dialect.name != "postgresql":
        return 0
    months = list(_months(today))
    return sum(
        _make_part(connection, table, first, end)
        for table in PARTED
        for first, end in pairwise(months)
    )


def whole_name(name: str) -> str:
    """The table that a table of a database is a part of; itself if it is none.

    >>> whole_name("plan_2027_01"), whole_name("plan_text")
    ('plan', 'plan_text')
    """
    if name in metadata.tables:
        return name
    return next((str(each.name) for each in PARTED if name.startswith(f"{each.name}_")), name)


def is_part(name: str | None) -> bool:
    """Whether a table of a database is a part of another, which nobody addresses by its name."""
    return name is not None and whole_name(name) != name


def _months(today: date) -> Iterator[date]:
    """The first days of this month, of those to be made ready, and of the one after them."""
    for step in range(MONTHS_AHEAD + 2):
        years, month = divmod(today.month - 1 + step, 12)
        yield date(today.year + years, month + 1, 1)


def _make_part(connection: Connection, table: Table, first: date, end: date) -> bool:
    """Make a part if no other holds its days."""
    if _is_held(connection, table, first):
        return False
    name, part, beyond = table.name, f"{table.name}_{first:%Y_%m}", f"{table.name}_beyond"
    days = {"first": first, "end": end}
    for statement in (
        f"CREATE TABLE {part} (LIKE {name} INCLUDING DEFAULTS INCLUDING CONSTRAINTS"
        " INCLUDING COMPRESSION INCLUDING STORAGE)",
        f"WITH moved AS (DELETE FROM {beyond} WHERE day >= :first AND day < :end RETURNING *)"
        f" INSERT INTO {part} SELECT * FROM moved",
    ):
        connection.execute(text(statement), days)
    # A bound cannot be sent beside a statement; both are dates.
    connection.exec_driver_sql(
        f"ALTER TABLE {name} ATTACH PARTITION {part} FOR VALUES FROM ('{first}') TO ('{end}')"
    )
    return True


_BOUNDS: Final = text(
    "SELECT CAST(substring(bound from 'FROM .''([-0-9]+)') AS date),"
    " CAST(substring(bound from 'TO .''([-0-9]+)') AS date)"
    " FROM pg_inherits JOIN pg_class AS part ON part.oid = inhrelid,"
    " pg_get_expr(part.relpartbound, part.oid) AS bound"
    " WHERE inhparent = CAST(:name AS regclass) AND bound <> 'DEFAULT'"
)


def _is_held(connection: Connection, table: Table, first: date) -> bool:
    """Whether a part other than that of all other days holds this first day of a month.

    There may be gaps between parts: a scheduler was away, or its clock was wrong.
    """
    return any(
        (begin is None or begin <= first) and first < end
        for begin, end in connection.execute(_BOUNDS, {"name": table.name})
    )
