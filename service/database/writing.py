"""Whether the database can be written to now, and what room is left beside it."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

from sqlalchemy import Engine, text

from service.database.engine import connect, storage_failure, storage_failures
from service.database.migrate import check_schema
from service.errors import StorageFailed

LEAST_FREE_BYTES = 100_000_000
"""Room for weeks of a few hundred blocks and for the journal of an evening; our own choice."""
_PROBE_WAIT_MS = 100


def check_storage(engine: Engine) -> None:
    """Raise StorageFailed unless the database is of this version and takes writes."""
    check_schema(engine)
    check_writing(engine)


def check_writing(engine: Engine) -> None:
    """Raise StorageFailed unless the database takes writes and has room for them.

    Nothing is stored. On SQLite the room on the disk of the file is looked at too; on PostgreSQL
    that is the server's own, and a client cannot see it.
    """
    if engine.dialect.name == "sqlite":
        _check_room(engine)
        _check_file(engine)
    else:
        _check_server(engine)


def free_bytes(engine: Engine) -> int | None:
    """Room left on the disk that holds the database [bytes].

    None where it is a server's, or where there is no such folder.
    """
    if engine.dialect.name != "sqlite":
        return None
    folder = Path(str(engine.url.database).removeprefix("file:")).parent
    return shutil.disk_usage(folder).free if folder.is_dir() else None


def _check_room(engine: Engine) -> None:
    free = free_bytes(engine)
    if free is not None and free < LEAST_FREE_BYTES:
        raise StorageFailed(
            f"database {engine.url.render_as_string()}: {free / 1e6:.0f} MB are left on its disk,"
            f" {LEAST_FREE_BYTES / 1e6:.0f} MB is the least to go on with; make room"
        )


def _check_file(engine: Engine) -> None:
    """Begin a change and take it back; that another writer is at work shows that writing works."""
    with storage_failures(engine):
        lease = engine.raw_connection()
    try:
        cursor = lease.cursor()
        (usual_ms,) = cursor.execute("PRAGMA busy_timeout").fetchone()
        cursor.execute(f"PRAGMA busy_timeout={_PROBE_WAIT_MS}")
        try:
            cursor.execute("PRAGMA query_only=OFF")
            # The lock alone is given for a file that can only be read too.
            cursor.execute("BEGIN IMMEDIATE")
            try:
                cursor.execute("CREATE TABLE writing_probe (n INTEGER)")
            finally:
                cursor.execute("ROLLBACK")
        finally:
            cursor.execute(f"PRAGMA busy_timeout={int(usual_ms)}")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_BUSY:
            raise storage_failure(error, engine) or error from error
    finally:
        lease.close()


def _check_server(engine: Engine) -> None:
    with storage_failures(engine), connect(engine, write=False) as connection:
        row = connection.execute(
            text("SELECT pg_is_in_recovery(), current_setting('default_transaction_read_only')")
        ).one()
    if row[0] or row[1] == "on":
        state = "is a standby, which only reads" if row[0] else "allows reading only"
        raise StorageFailed(f"database {engine.url.render_as_string()}: the server {state}")
