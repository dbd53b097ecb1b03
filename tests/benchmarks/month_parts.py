"""What an evening adds to PostgreSQL's log once the ledgers of a season are there.

    RILLWRIGHT_TEST_POSTGRES_OPTIONS="-c full_page_writes=on" bash -c \\
        '. tests/postgres.sh; python -m tests.benchmarks.month_parts'

The first change of a page after a checkpoint writes the whole page to the log, as servers do that
must outlive a crash. Balances without numbers stand for whole ones: their index is what counts.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from sqlalchemy import Connection, create_engine, text
from sqlalchemy.engine import URL
from sqlalchemy.pool import NullPool

from service.database import migrate
from service.database.month_parts import prepare_months
from tests.databases import address, new_database

FIRST = date(2060, 3, 1)
"""Later than the part of all that was there before."""
WHOLE = "202611302230"
"""The last revision whose tables are in one piece."""
_ADD = text(
    "INSERT INTO balance_day (block_key, day, is_observed, irrigation_origin, flags, taw_mm)"
    " SELECT number, :day, true, 0, 0, random() FROM generate_series(1, :blocks) AS number"
)


def measure(url: URL, *, blocks: int, days: int, has_parts: bool) -> None:
    """Fill a database with a season, and print what the next evenings add to its log."""
    migrate.upgrade(address(url), revision="head" if has_parts else WHOLE)
    engine = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    with engine.connect() as connection:
        if connection.exec_driver_sql("SHOW full_page_writes").scalar_one() != "on":
            raise SystemExit("the server does not write whole pages: full_page_writes is off")
        connection.exec_driver_sql("SET session_replication_role = replica")  # no blocks needed
        for number in range(days):
            _add(connection, number, blocks, has_parts=has_parts)
        connection.exec_driver_sql("VACUUM ANALYZE balance_day")
        for number in range(days, days + 3):
            connection.exec_driver_sql("CHECKPOINT")
            before, began = _log_bytes(connection), time.perf_counter()
            _add(connection, number, blocks, has_parts=has_parts)
            print(
                f"{'by month' if has_parts else 'whole':9} day {number + 1}:"
                f" {(_log_bytes(connection) - before) / blocks:6,.0f} bytes of log a block,"
                f" {time.perf_counter() - began:.2f} s"
            )
    engine.dispose()


def _add(connection: Connection, number: int, blocks: int, *, has_parts: bool) -> None:
    day = FIRST + timedelta(days=number)
    if has_parts:
        prepare_months(connection, today=day)
    connection.execute(_ADD, {"day": day, "blocks": blocks})


def _log_bytes(connection: Connection) -> int:
    found = connection.exec_driver_sql("SELECT pg_current_wal_lsn() - '0/0'::pg_lsn")
    return int(found.scalar_one())


def main() -> None:
    """Measure both ways."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--blocks", type=int, default=20_000)
    parser.add_argument("--days", type=int, default=200)
    options = parser.parse_args()
    for has_parts in (False, True):
        with (
            tempfile.TemporaryDirectory() as folder,
            new_database("postgresql", Path(folder)) as url,
        ):
            measure(url, blocks=options.blocks, days=options.days, has_parts=has_parts)


if __name__ == "__main__":
    main()
