"""Puts a backup in the place of the service's database, at once and whole.

The backup becomes a new database beside the old one, is held against its manifest there, and only
then takes its name. What was there before is kept under another name. Whoever has the old database
open would go on writing into it, so nobody may.
"""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.engine import URL

from service.database.backup import check_backup, check_contents
from service.database.copy import read_sqlite, sync_folder
from service.database.engine import (
    UNIT_OPTION,
    checked_url,
    connect,
    make_engine,
    storage_failure,
)
from service.database.migrate import known_revisions
from service.database.postgres_dump import find_tool, read_postgres, run_tool
from service.errors import Conflict, Fault, InputInvalid, StorageFailed
from service.records.backups import Contents, Manifest, Restored

_STILL_OPEN = "another process has it open; stop the service first"


def restore_backup(
    folder: Path, url: str, *, now: datetime, replaces: bool = False, tools: Path | None = None
) -> Restored:
    """Put a backup in the place of the database that an address names.

    Raises Conflict where something is there already, unless it may be replaced; InputInvalid for a
    backup that is of another kind of database or of a later version of the service; StorageFailed
    where the backup is not sound or the database is in use. In all of these nothing is changed.
    """
    target = checked_url(url)
    manifest = check_backup(folder, tools=tools)
    kind = target.get_backend_name()
    if manifest.database != kind:
        raise InputInvalid(
            "the backup cannot be restored there",
            [Fault("RILLWRIGHT_DATABASE_URL", kind, f"a {manifest.database} database")],
        )
    if manifest.contents.revision not in known_revisions():
        raise InputInvalid(
            "this version cannot work with the backup",
            [
                Fault(
                    str(folder),
                    f"schema {manifest.contents.revision}",
                    f"one of this version; the backup was made by {manifest.service_version}",
                )
            ],
        )
    copy, stamp = folder / manifest.file_name, now.strftime("%Y%m%dT%H%M%SZ")
    if kind == "sqlite":
        file = Path(str(target.database))
        aside = _restore_file(copy, manifest, file, stamp=stamp, replaces=replaces)
    else:
        aside = _restore_dump(copy, manifest, target, stamp=stamp, replaces=replaces, tools=tools)
    return Restored(manifest, aside)


def _check_empty(found: Contents | None, where: str, replaces: bool) -> None:
    """Raise Conflict for a database that is there, empty or not, unless it may be replaced."""
    if found is not None and found.row_counts and not replaces:
        raise Conflict(
            f"{where}: a database with {found.row_count} rows is there already; nothing was"
            " changed; with --replace it is kept under another name and the backup takes its place"
        )


# --- SQLite ------------------------------------------------------------------------------------


def _restore_file(
    copy: Path, manifest: Manifest, target: Path, *, stamp: str, replaces: bool
) -> str | None:
    if target.exists() and not replaces:
        _check_empty(read_sqlite(target, is_at_rest=False), str(target), replaces)
    fresh = target.with_name(f".{target.name}.restoring")
    aside = target.with_name(f"{target.name}.before-restore-{stamp}")
    try:
        target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        fresh.unlink(missing_ok=True)
        with (
            copy.open("rb") as reader,
            os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as writer,
        ):
            shutil.copyfileobj(reader, writer, 1 << 20)
            writer.flush()
            os.fsync(writer.fileno())
        check_contents(read_sqlite(fresh, is_at_rest=True), manifest, fresh)
        was_there = target.exists()
        if was_there:
            with _closed_to_others(target, aside):
                os.link(target, aside)
                fresh.replace(target)
        else:
            _move_journals(target, aside)
            fresh.rename(target)
        sync_folder(target.parent)
    except OSError as error:
        raise StorageFailed(f"{target}: the backup cannot be put there: {error}") from error
    finally:
        fresh.unlink(missing_ok=True)
    return str(aside) if was_there else None


@contextmanager
def _closed_to_others(path: Path, aside: Path) -> Iterator[None]:
    """A database that only this process has open, with all that was written in its one file.

    Only the last connection can leave the write-ahead mode: it fails while there is another. A file
    that is damaged is left as it is, and its journal goes with it.
    """
    with closing(sqlite3.connect(path, isolation_level=None, timeout=1.0)) as opened:
        try:
            (mode,) = opened.execute("PRAGMA journal_mode=DELETE").fetchone()
            opened.execute("BEGIN EXCLUSIVE")
            is_free = mode == "delete"
        except sqlite3.DatabaseError as error:
            is_free = getattr(error, "sqlite_errorcode", None) != sqlite3.SQLITE_BUSY
            if is_free:
                _move_journals(path, aside)
        if not is_free:
            raise StorageFailed(f"{path}: {_STILL_OPEN}; nothing was changed")
        yield


def _move_journals(path: Path, aside: Path) -> None:
    """Take away what SQLite would play into any database that has this name."""
    for tail in ("-wal", "-shm", "-journal"):
        left = Path(f"{path}{tail}")
        if left.exists():
            left.rename(f"{aside}{tail}")


# --- PostgreSQL --------------------------------------------------------------------------------


def _restore_dump(
    dump: Path,
    manifest: Manifest,
    target: URL,
    *,
    stamp: str,
    replaces: bool,
    tools: Path | None,
) -> str | None:
    name = str(target.database)
    fresh = target.set(database=f"{name[:40]}_{secrets.token_hex(4)}")
    aside = f"{name[:40]}_before_{stamp.lower()}"
    with _server(target) as server:
        program = find_tool("pg_restore", tools, least=_major(server))
        is_there = _is_there(server, name)
        found = _read(target) if is_there else None
        _check_empty(found, f"database {name}", replaces)
        like = _locale_of(server, name) if is_there else ""
        server.exec_driver_sql(f'CREATE DATABASE "{fresh.database}" TEMPLATE template0{like}')
        try:
            run_tool(
                program,
                "--exit-on-error",
                "--single-transaction",
                "--no-owner",
                "--no-privileges",
                str(dump),
                url=fresh,
            )
            check_contents(_read(fresh, gathers_statistics=True), manifest, fresh.database)
            _switch(server, str(fresh.database), name, aside if is_there else None)
        except BaseException:
            server.exec_driver_sql(f'DROP DATABASE IF EXISTS "{fresh.database}" WITH (FORCE)')
            raise
        if found is not None and not found.row_counts:
            server.exec_driver_sql(f'DROP DATABASE "{aside}"')
            return None
    return f"database {aside}" if is_there else None


@contextmanager
def _server(target: URL) -> Iterator[Connection]:
    """A connection beside the database, each statement a transaction of its own."""
    engine = make_engine(target.set(database="postgres"))
    try:
        with engine.connect().execution_options(
            **{UNIT_OPTION: False}, isolation_level="AUTOCOMMIT"
        ) as connection:
            connection.exec_driver_sql("SET statement_timeout = 0")
            connection.exec_driver_sql("SET idle_in_transaction_session_timeout = 0")
            yield connection
    except Exception as error:
        failure = storage_failure(error, engine)
        if failure is None:
            raise
        if "being accessed by other users" in str(error):
            raise StorageFailed(f"database {target.database}: {_STILL_OPEN}") from error
        if "permission denied to create database" in str(error):
            raise StorageFailed(
                f'the user of the database may not make another one: ALTER ROLE "{target.username}"'
                " CREATEDB allows it"
            ) from error
        raise failure from error
    finally:
        engine.dispose()


def _major(server: Connection) -> int:
    return int(server.exec_driver_sql("SHOW server_version_num").scalar_one()) // 10_000


def _is_there(server: Connection, name: str) -> bool:
    found = server.exec_driver_sql("SELECT 1 FROM pg_database WHERE datname = %s", (name,))
    return found.first() is not None


def _locale_of(server: Connection, name: str) -> str:
    """What makes a new database sort as an old one does."""
    encoding, collate, ctype = server.exec_driver_sql(
        "SELECT pg_encoding_to_char(encoding), quote_literal(datcollate), quote_literal(datctype)"
        " FROM pg_database WHERE datname = %s",
        (name,),
    ).one()
    return f" ENCODING '{encoding}' LC_COLLATE {collate} LC_CTYPE {ctype}"


def _read(url: URL, *, gathers_statistics: bool = False) -> Contents:
    engine = make_engine(url)
    try:
        if gathers_statistics:
            with engine.connect().execution_options(
                **{UNIT_OPTION: False}, isolation_level="AUTOCOMMIT"
            ) as connection:
                connection.exec_driver_sql("ANALYZE")
        with connect(engine, write=False) as connection, connection.begin():
            connection.exec_driver_sql("SET LOCAL statement_timeout = 0")
            return read_postgres(connection)
    finally:
        engine.dispose()


def _switch(server: Connection, fresh: str, name: str, aside: str | None) -> None:
    """Exchange the names in one transaction; the server refuses while somebody is connected."""
    server.exec_driver_sql("BEGIN")
    try:
        if aside is not None:
            server.exec_driver_sql(f'ALTER DATABASE "{name}" RENAME TO "{aside}"')
        server.exec_driver_sql(f'ALTER DATABASE "{fresh}" RENAME TO "{name}"')
        server.exec_driver_sql("COMMIT")
    except BaseException:
        server.exec_driver_sql("ROLLBACK")
        raise
