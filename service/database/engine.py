"""Engines: how a database connection of the service behaves, on SQLite and on PostgreSQL.

Both behave alike towards the operations. A write unit takes its lock at its beginning, so that a
unit that reads first and writes later cannot fail to get it. On SQLite that is the one write lock
(``BEGIN IMMEDIATE``). On PostgreSQL it is one of three (:data:`FARMS_OPTION`):

- of everything, the default: no other unit that holds a lock is at work meanwhile;
- of some farms: others may be at work on other farms;
- none: statements that hold their condition within themselves, such as a claim.

A read unit sees one snapshot and cannot write.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from service.errors import Fault, SettingsInvalid, StorageAway, StorageBusy, StorageFailed

BUSY_TIMEOUT_MS = 5_000
"""How long a writer waits for another before it gives up; our own choice."""

WRITE_LOCK_KEY = 7_245_101
"""Advisory lock of everything on PostgreSQL, which units of some farms share; arbitrary."""
FARM_LOCK_CLASS = 7_245_102
"""Class of the advisory locks of farms on PostgreSQL, whose number is the farm's key; arbitrary."""

UNIT_OPTION = "unit_writes"
"""Execution option of a connection: True writes (the default), False only reads."""
FARMS_OPTION = "unit_farms"
"""Execution option of a connection that writes: keys of the farms whose locks it takes, in any
order; None (the default): everything; empty: nothing is locked. SQLite has one writer in any case.
"""

POSTGRES_CONNECTION: Mapping[str, str | int] = {
    "connect_timeout": 5,
    # Ours: a server that has gone is noticed within 11 s.
    "keepalives": 1,
    "keepalives_idle": 5,
    "keepalives_interval": 3,
    "keepalives_count": 2,
    "tcp_user_timeout": 11_000,
}
"""Settings of the client library, s and (``tcp_user_timeout``) ms; our own choice."""
POSTGRES_SESSION: dict[str, str | int] = {
    # The server's: one of us that is cut off in the middle of a write holds the one write lock no
    # longer than this, as the server then ends its transaction.
    "tcp_keepalives_idle": 5,
    "tcp_keepalives_interval": 3,
    "tcp_keepalives_count": 2,
    "tcp_user_timeout": 11_000,
    # One that is there and stands still. An evening computes between its statements, so it is long.
    "idle_in_transaction_session_timeout": 120_000,
    "statement_timeout": 300_000,
}
"""Settings of each session on the server, s and (those named timeout) ms; our own choice."""

_LOCK_NUMBERS = 2**31
"""The number of an advisory lock in a class has 31 bits."""
_SIGNS_OF_BUSY = ("is locked", "lock timeout", "deadlock detected")
_POOL_SIZE = 8
_POOL_OVERFLOW = 40  # the web server's thread pool has 40 threads


def make_engine(url: str | URL, *, busy_timeout_ms: int = BUSY_TIMEOUT_MS) -> Engine:
    """Engine for ``sqlite:///path/to/file`` or ``postgresql+psycopg://user@host/name``.

    Nothing is opened yet. Raises SettingsInvalid for any other kind of database, and for SQLite in
    memory, which no second connection could see.
    """
    parsed = checked_url(url)
    options: dict[str, Any] = {"pool_size": _POOL_SIZE, "max_overflow": _POOL_OVERFLOW}
    if parsed.get_backend_name() == "sqlite":
        # The driver's own transaction handling is off: BEGIN is sent by the listener below.
        options["connect_args"] = {
            "isolation_level": None,
            "timeout": busy_timeout_ms / 1000.0,
        }
    else:
        options["pool_pre_ping"] = True
        options["connect_args"] = postgres_connect_args(parsed)
    engine = create_engine(parsed, **options)

    if engine.dialect.name == "sqlite":

        @event.listens_for(engine, "connect")
        def set_pragmas(dbapi_connection: sqlite3.Connection, _record: object) -> None:
            cursor = dbapi_connection.cursor()
            cursor.execute(f"PRAGMA busy_timeout={int(busy_timeout_ms)}")
            cursor.execute("PRAGMA journal_mode=WAL")
            cursor.execute("PRAGMA synchronous=FULL")
            cursor.execute("PRAGMA foreign_keys=ON")
            cursor.close()

        @event.listens_for(engine, "begin")
        def begin_sqlite(connection: Connection) -> None:
            writes = connection.get_execution_options().get(UNIT_OPTION, True)
            driver: Any = connection.connection.driver_connection
            driver.execute(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
            driver.execute("BEGIN IMMEDIATE" if writes else "BEGIN")

    else:

        @event.listens_for(engine, "connect")
        def compress_lightly(dbapi_connection: Any, _record: object) -> None:
            # A third of the server's time for what is stored is compression, where it is its usual
            # one; servers built without this one keep theirs.
            dbapi_connection.autocommit = True
            with suppress(engine.dialect.loaded_dbapi.Error), dbapi_connection.cursor() as cursor:
                cursor.execute("SET default_toast_compression = 'lz4'")
            dbapi_connection.autocommit = False

        @event.listens_for(engine, "begin")
        def begin_postgresql(connection: Connection) -> None:
            options = connection.get_execution_options()
            if options.get(UNIT_OPTION, True):
                connection.exec_driver_sql(f"SET LOCAL lock_timeout = {int(busy_timeout_ms)}")
                _take_locks(connection, options.get(FARMS_OPTION))

    _close_what_comes_back_late(engine)
    return engine


def _close_what_comes_back_late(engine: Engine) -> None:
    """Close connections that were out when the engine was disposed of, once they come back.

    A request under way when a service stops has one. Its old pool takes it back and would leave it
    to the garbage collector, open on the server until then.
    """
    disposal_count = 0

    @event.listens_for(engine, "engine_disposed")
    def count(_engine: Engine) -> None:
        nonlocal disposal_count
        disposal_count += 1

    @event.listens_for(engine, "connect")
    def remember(_connection: object, record: Any) -> None:
        record.info["disposal_count"] = disposal_count

    @event.listens_for(engine, "checkin")
    def close_if_late(connection: Any, record: Any) -> None:
        if connection is not None and record.info.get("disposal_count") != disposal_count:
            connection.close()


def _take_locks(connection: Connection, farm_keys: Collection[int] | None) -> None:
    """Take the advisory locks of a write unit, which its transaction holds to its end."""
    if farm_keys is None:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK_KEY})")
    elif farm_keys:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock_shared({WRITE_LOCK_KEY})")
        # In one order for all, so that no two of them wait for each other.
        keys = ",".join(str(key % _LOCK_NUMBERS) for key in sorted(farm_keys))
        connection.exec_driver_sql(
            f"SELECT pg_advisory_xact_lock({FARM_LOCK_CLASS}, farm_key)"
            f" FROM unnest('{{{keys}}}'::int[]) AS farm_key"
        )


def postgres_connect_args(url: URL) -> dict[str, str | int]:
    """How the client library connects; what the address says for itself stands."""
    session = " ".join(f"-c {name}={value}" for name, value in POSTGRES_SESSION.items())
    ours = {**POSTGRES_CONNECTION, "options": session}
    return {name: value for name, value in ours.items() if name not in url.query}


def connect(engine: Engine, *, write: bool, farm_keys: Collection[int] | None = None) -> Connection:
    """A connection whose transactions behave as those of a write or a read unit.

    ``farm_keys``: see :data:`FARMS_OPTION`.
    """
    connection = engine.connect()
    if engine.dialect.name == "postgresql" and not write:
        # One snapshot from the first statement to the last, as in SQLite.
        return connection.execution_options(
            **{UNIT_OPTION: False},
            isolation_level="REPEATABLE READ",
            postgresql_readonly=True,
        )
    return connection.execution_options(**{UNIT_OPTION: write, FARMS_OPTION: farm_keys})


def storage_failure(error: BaseException, engine: Engine) -> StorageFailed | None:
    """A database error translated to the service's own; None for any other error."""
    where = engine.url.render_as_string(hide_password=True)
    driver_error = engine.dialect.loaded_dbapi.Error
    if isinstance(error, DBAPIError):
        text = str(error.orig)
    elif isinstance(error, (SQLAlchemyError, driver_error)):
        text = str(error)
    else:
        return None
    lowered = text.lower()
    away, kind = "", StorageFailed
    if isinstance(error, PoolTimeoutError):
        away = "too many units of work are open at once; try again later"
    elif any(sign in lowered for sign in _SIGNS_OF_BUSY):
        busy = "another writer held the database for too long; nothing was stored, try again"
        return StorageBusy(f"database {where}: {busy} ({text.strip()})")
    elif "unable to open" in lowered or "connection failed" in lowered:
        away = "it cannot be opened; check that it exists and that the service may use it"
    elif isinstance(error, DBAPIError) and error.connection_invalidated:
        away = "the connection was lost; the server was stopped, or it is out of reach"
    if away:
        reason, kind = away, StorageAway
    elif "no such table" in lowered or "does not exist" in lowered or "no such column" in lowered:
        reason = "the schema is not the one this version expects; run `rillwright migrate`"
    elif "readonly" in lowered or "read-only" in lowered:
        reason = "a unit of work that only reads was asked to write, or the file is read-only"
    else:
        reason = "the database refused"
    return kind(f"database {where}: {reason} ({text.strip()})")


@contextmanager
def storage_failures(engine: Engine) -> Iterator[None]:
    """Errors of the database raised within, as the service's own; any other error as it is."""
    try:
        yield
    except Exception as error:
        failure = storage_failure(error, engine)
        if failure is None:
            raise
        raise failure from error


def checked_url(url: str | URL) -> URL:
    """The address of a database that is supported; raises SettingsInvalid for any other."""
    allowed = "sqlite:///path/to/file or postgresql+psycopg://user@host/name"
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise SettingsInvalid(
            "The database URL cannot be read.", [Fault("database_url", "not a URL", allowed)]
        ) from error
    shown = parsed.render_as_string(hide_password=True)
    if parsed.get_backend_name() == "sqlite":
        in_memory = parsed.database in (None, "", ":memory:") or "mode=memory" in shown
        if not in_memory and parsed.get_driver_name() == "pysqlite":
            return parsed
    elif parsed.get_backend_name() == "postgresql":
        if parsed.drivername == "postgresql":
            return parsed.set(drivername="postgresql+psycopg")
        if parsed.get_driver_name() == "psycopg":
            return parsed
    raise SettingsInvalid(
        "The database URL names a database that is not supported.",
        [Fault("database_url", shown, allowed)],
    )
