"""Fresh databases for tests: SQLite always, PostgreSQL where RILLWRIGHT_TEST_POSTGRES_URL says.

The URL names a database in which the tests may create others, for example
``postgresql+psycopg://postgres@127.0.0.1:5432/postgres``. Every test that opens a database gets it
from here, empty or copied from one that was filled once, and so runs on both kinds.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import Connection, Engine, create_engine
from sqlalchemy.engine import URL, make_url
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool
from sqlalchemy.util import LRUCache

from service.database.tables import metadata
from tests.shared_fixtures import POSTGRES_SETTING

STATEMENT_COUNT = 5_000
"""More than the service has."""


@contextmanager
def statements_compiled_once() -> Iterator[None]:
    """Meanwhile the engines of this process share the statements that one of them has compiled.

    A test has an engine of its own, for which the same statements would be compiled once more. They
    are kept by the dialect, of which each engine has its own too; here those of one kind are equal.
    """
    shared: LRUCache[Any, Any] = LRUCache(STATEMENT_COUNT)
    patch, make = pytest.MonkeyPatch(), Engine.__init__

    def make_with_shared(engine: Engine, *arguments: Any, **options: Any) -> None:
        make(engine, *arguments, **options)
        engine._compiled_cache = shared

    patch.setattr(Engine, "__init__", make_with_shared)
    patch.setattr(DefaultDialect, "__hash__", lambda dialect: hash(type(dialect)))
    patch.setattr(DefaultDialect, "__eq__", lambda one, other: type(one) is type(other))
    yield
    patch.undo()


def _server_url() -> URL:
    return make_url(os.environ[POSTGRES_SETTING])


def _on_server(*statements: str, url: URL | None = None) -> None:
    server = create_engine(url or _server_url(), isolation_level="AUTOCOMMIT", poolclass=NullPool)
    with server.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)


@contextmanager
def new_database(kind: str, folder: Path, *, template: URL | None = None) -> Iterator[URL]:
    """A database, empty or copied from a template, that is gone afterwards.

    Nobody may be connected to the template meanwhile: PostgreSQL refuses, and SQLite would hold
    rows in a second file.
    """
    name = f"rillwright_{uuid4().hex}"
    if kind == "sqlite":
        path = folder / f"{name}.db"
        if template is not None:
            held_open = [f"{template.database}{tail}" for tail in ("-wal", "-journal")]
            assert not any(map(os.path.exists, held_open)), f"a connection is open: {template}"
            shutil.copyfile(str(template.database), path)
        yield make_url(f"sqlite:///{path}")
        return
    # As files, since the server of the tests does not wait for the disk: 30 ms; as log, 60 ms.
    source = "" if template is None else f' TEMPLATE "{template.database}" STRATEGY FILE_COPY'
    _on_server(f'CREATE DATABASE "{name}"{source}')
    try:
        yield _server_url().set(database=name)
    finally:
        for each in beside(_server_url().set(database=name)):
            _on_server(f'DROP DATABASE "{each}" WITH (FORCE)')


def beside(url: URL) -> list[str]:
    """Names of a database and of what a restoration made beside it: files, or databases."""
    if url.get_backend_name() == "sqlite":
        path = Path(str(url.database))
        return sorted(each.name for each in path.parent.iterdir() if path.name in each.name)
    server = create_engine(_server_url(), poolclass=NullPool)
    with server.connect() as connection:
        found = connection.exec_driver_sql(
            "SELECT datname FROM pg_database WHERE starts_with(datname, %s) ORDER BY 1",
            (str(url.database)[:40],),
        )
        return [str(name) for name in found.scalars()]


@contextmanager
def copied(template: URL, folder: Path) -> Iterator[URL]:
    """A database of the template's kind with the same rows, that is gone afterwards."""
    with new_database(template.get_backend_name(), folder, template=template) as url:
        yield url


@contextmanager
def lent(template: URL, folder: Path) -> Iterator[URL]:
    """A database with the template's rows, which the tests of PostgreSQL have in turn.

    Putting the rows back takes a few milliseconds there, and a new database a hundred. The template
    must stay as it is from the first time on; who changes the schema takes a copy instead.
    """
    if template.get_backend_name() == "sqlite":
        with copied(template, folder) as url:
            yield url
        return
    name = str(template.database)
    if name not in _lendings:
        _keep_rows(template)
        _lendings[name] = _Lending(template)
    lending = _lendings[name]
    copy = lending.take()
    yield copy.url
    lending.free.append(copy)


@dataclass(frozen=True, slots=True)
class _Copy:
    """A copy of a template, and a connection that stays open and knows how to put its rows back."""

    url: URL
    connection: Connection


@dataclass(slots=True)
class _Lending:
    """Copies of a template that are free again."""

    template: URL
    free: list[_Copy] = field(default_factory=list)
    stack: ExitStack = field(default_factory=ExitStack)

    def take(self) -> _Copy:
        """A copy; a new one is made if none is free or a test's changes cannot be undone."""
        while self.free:
            copy = self.free.pop()
            try:
                copy.connection.exec_driver_sql("SELECT kept.put_back()")
            except DBAPIError:
                continue
            return copy
        url = self.stack.enter_context(new_database("postgresql", Path(), template=self.template))
        server = create_engine(url, isolation_level="AUTOCOMMIT", poolclass=NullPool)
        connection = self.stack.enter_context(server.connect())
        connection.exec_driver_sql("SET lock_timeout = '5s'")
        return _Copy(url, connection)


_lendings: dict[str, _Lending] = {}


def end_lending() -> None:
    """Drop the copies that were lent."""
    for lending in _lendings.values():
        lending.stack.close()
    _lendings.clear()


def _keep_rows(template: URL) -> None:
    """Store a second copy of each table, and a function that restores its rows."""
    names = list(metadata.tables)
    _on_server(
        "DROP SCHEMA IF EXISTS kept CASCADE",  # that of the database it was copied from
        "CREATE SCHEMA kept",
        *(f'CREATE TABLE kept."{name}" AS SELECT * FROM public."{name}"' for name in names),
        url=template,
    )
    server = create_engine(template, poolclass=NullPool)
    with server.connect() as connection:
        sequences = connection.exec_driver_sql(
            "SELECT sequencename, coalesce(last_value, 1), last_value IS NOT NULL"
            " FROM pg_sequences WHERE schemaname = 'public'"
        ).all()
    steps = [
        *(f'DELETE FROM public."{name}"' for name in names),
        *(f'INSERT INTO public."{name}" SELECT * FROM kept."{name}"' for name in names),
        *(
            f"PERFORM setval('public.\"{name}\"', {value}, {is_called})"
            for name, value, is_called in sequences
        ),
    ]
    _on_server(
        # Foreign keys are not looked at, so that the order of the tables does not matter. As a
        # function, so that a connection plans its statements once.
        "CREATE FUNCTION kept.put_back() RETURNS void LANGUAGE plpgsql"
        f" SET session_replication_role = replica AS $$ BEGIN {'; '.join(steps)}; END $$",
        url=template,
    )


def address(url: URL) -> str:
    """The database as a setting names it."""
    return url.render_as_string(hide_password=False)


def stored_bytes(url: URL | str) -> bytes:
    """Whatever a database holds, to look for what it must not hold."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        path = Path(str(parsed.database))
        return b"".join(each.read_bytes() for each in path.parent.glob(f"{path.name}*"))
    server = create_engine(parsed, poolclass=NullPool)
    with server.connect() as connection:
        found = [
            row
            for name in metadata.tables
            for (row,) in connection.exec_driver_sql(f'SELECT held::text FROM "{name}" AS held')
        ]
    return "\n".join(found).encode()
