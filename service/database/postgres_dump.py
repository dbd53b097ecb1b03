"""Dumps of PostgreSQL databases, written and read by the server's own programs.

A dump is of the custom format: compressed, with a table of what is in it. It is read back without a
server, as the text that would restore it, so that what it holds can be counted anywhere.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections import Counter
from pathlib import Path
from typing import Final

from alembic.runtime.migration import MigrationContext
from sqlalchemy import Connection
from sqlalchemy.engine import URL

from service.database.engine import connect, make_engine, storage_failures
from service.database.month_parts import whole_name
from service.errors import StorageFailed
from service.records.backups import Contents

_VERSION: Final = re.compile(r"\(PostgreSQL\) (\d+)[.\w]*")
_COPY: Final = re.compile(rb"COPY ([^ .]+)\.([^ .]+) \(.*\) FROM stdin;\n")
_VERSION_TABLE: Final = "alembic_version"
_SAID_CHARACTERS: Final = 600


def dump_postgres(url: URL, to: Path, *, tools: Path | None) -> Contents:
    """Write a dump of one moment to a new file, while others write; returns what is in it.

    ``tools``: folder of the programs; None: those of PATH. Raises StorageFailed where the program
    is missing, is older than the server, or fails.
    """
    engine = make_engine(url)
    try:
        with (
            storage_failures(engine),
            connect(engine, write=False) as connection,
            connection.begin(),
        ):
            # The snapshot lives as long as this transaction, which waits for the program.
            for timeout in ("statement_timeout", "idle_in_transaction_session_timeout"):
                connection.exec_driver_sql(f"SET LOCAL {timeout} = 0")
            version = connection.exec_driver_sql("SHOW server_version_num").scalar_one()
            program = find_tool("pg_dump", tools, least=int(version) // 10_000)
            snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
            contents = read_postgres(connection)
            run_tool(
                program,
                "--format=custom",
                "--no-owner",
                "--no-privileges",
                f"--snapshot={snapshot}",
                f"--file={to}",
                url=url,
            )
    finally:
        engine.dispose()
    return contents


def read_postgres(connection: Connection) -> Contents:
    """What a database holds, as the connection's transaction sees it."""
    tables = connection.exec_driver_sql(
        "SELECT nspname, relname FROM pg_class JOIN pg_namespace n ON n.oid = relnamespace"
        " WHERE relkind = 'r' AND NOT starts_with(nspname, 'pg_')"
        " AND nspname <> 'information_schema' ORDER BY 1, 2"
    ).all()
    counts: Counter[str] = Counter()
    for schema, name in tables:
        count = connection.exec_driver_sql(f'SELECT count(*) FROM "{schema}"."{name}"').scalar_one()
        counts[_shown(schema, name)] += int(count)
    return Contents(MigrationContext.configure(connection).get_current_revision(), counts)


def read_dump(dump: Path, *, tools: Path | None) -> Contents:
    """What a dump holds, read to its end; raises StorageFailed if it cannot be."""
    program = find_tool("pg_restore", tools, least=0)
    counts: Counter[str] = Counter()
    revision, table = None, ""
    with subprocess.Popen(
        [program, "--data-only", "--file=-", str(dump)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        for line in process.stdout:
            if table:
                if line == b"\\.\n":
                    table = ""
                    continue
                counts[table] += 1
                if table.endswith(_VERSION_TABLE):
                    revision = line.decode().strip()
            elif begun := _COPY.fullmatch(line):
                table = _shown(*(name.decode().strip('"') for name in begun.groups()))
                counts[table] += 0
        said = process.stderr.read().decode(errors="replace")
    if process.returncode:
        raise StorageFailed(f"{dump}: pg_restore cannot read it: {_shortened(said)}")
    return Contents(revision, counts)


def _shown(schema: str, name: str) -> str:
    return whole_name(name) if schema == "public" else f"{schema}.{name}"


def find_tool(name: str, folder: Path | None, *, least: int) -> str:
    """A program of PostgreSQL, of this major version or a later one; raises StorageFailed."""
    found = shutil.which(name, path=None if folder is None else str(folder))
    wanted = f"PostgreSQL {least} or newer" if least else "PostgreSQL"
    remedy = (
        f"install the client programs of {wanted} (Debian: postgresql-client) or name their"
        " folder in RILLWRIGHT_POSTGRES_TOOLS"
    )
    if found is None:
        raise StorageFailed(
            f"{name}: not found in {'PATH' if folder is None else folder}; {remedy}"
        )
    if tool_major(found) < least:
        raise StorageFailed(f"{found} is of PostgreSQL {tool_major(found)}, too old; {remedy}")
    return found


def tool_version(program: str) -> str:
    """What a program says of its version: ``pg_dump (PostgreSQL) 16.4``."""
    return run_tool(program, "--version").strip()


def tool_major(program: str) -> int:
    """The major version of a program of PostgreSQL."""
    said = tool_version(program)
    found = _VERSION.search(said)
    if found is None:
        raise StorageFailed(f"{program}: its version cannot be read from {said!r}")
    return int(found[1])


def run_tool(program: str, *arguments: str, url: URL | None = None) -> str:
    """Run a program to its end, on a database where one is given; raises StorageFailed.

    The password goes through the environment, since everybody on the machine can read arguments.
    """
    environment = dict(os.environ)
    command = [program, *arguments]
    if url is not None:
        parts = {**url.query, **url.translate_connect_args(username="user", database="dbname")}
        password = parts.pop("password", None)
        if password is not None:
            environment["PGPASSWORD"] = str(password)
        from psycopg.conninfo import make_conninfo  # noqa: PLC0415 - not needed with SQLite

        command.append(f"--dbname={make_conninfo(**parts)}")
    try:
        done = subprocess.run(
            command, env=environment, capture_output=True, text=True, errors="replace", check=False
        )
    except OSError as error:
        raise StorageFailed(f"{program}: cannot be run: {error}") from error
    if done.returncode:
        raise StorageFailed(f"{Path(program).name} failed: {_shortened(done.stderr)}")
    return done.stdout


def _shortened(said: str) -> str:
    return said.strip()[-_SAID_CHARACTERS:] or "it does not say why"
