"""Fresh databases for tests: SQLite always, PostgreSQL where RILLWRIGHT_TEST_POSTGRES_URL says.

The URL names a database in which the tests may create others, for example
``postgresql+psycopg://postgres@127.0.0.1:5432/postgres``. Every test finds a database that the
migrations have built, without rows.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import Engine, create_engine
from sqlalchemy.engine import URL, make_url

from service.database.migrate import upgrade
from service.database.session import make_engine, unit_of_work_factory
from service.database.tables import metadata
from service.ports import UnitOfWorkFactory

POSTGRES_SETTING = "RILLWRIGHT_TEST_POSTGRES_URL"

KINDS = ["sqlite", *(["postgresql"] if os.environ.get(POSTGRES_SETTING) else [])]

__all__ = [
    "database_kind",
    "database_url",
    "empty_url",
    "engine",
    "migrated",
    "open_unit",
    "own_url",
    "shared_url",
]


def _server_url() -> URL:
    return make_url(os.environ[POSTGRES_SETTING])


def _on_server(*statements: str, url: URL | None = None) -> None:
    server = create_engine(url or _server_url(), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    server.dispose()


@contextmanager
def new_database(kind: str, folder: Path, *, template: URL | None = None) -> Iterator[URL]:
    """A database, empty or copied from a template, that is gone afterwards."""
    name = f"rillwright_{uuid4().hex}"
    if kind == "sqlite":
        path = folder / f"{name}.db"
        if template is not None:
            shutil.copyfile(str(template.database), path)
        yield make_url(f"sqlite:///{path}")
        return
    source = "" if template is None else f' TEMPLATE "{template.database}"'
    _on_server(f'CREATE DATABASE "{name}"{source}')
    try:
        yield _server_url().set(database=name)
    finally:
        _on_server(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(scope="session", params=KINDS)
def database_kind(request: pytest.FixtureRequest) -> str:
    """``sqlite`` or ``postgresql``."""
    return str(request.param)


@pytest.fixture(scope="session")
def migrated(database_kind: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """A database at head that tests copy; nobody writes into it."""
    with new_database(database_kind, tmp_path_factory.mktemp("migrated")) as url:
        first = make_engine(url)
        upgrade(first)
        first.dispose()  # the last connection to close puts all of SQLite's rows in the one file
        yield url


@pytest.fixture
def empty_url(database_kind: str, tmp_path: Path) -> Iterator[URL]:
    """A database without any table."""
    with new_database(database_kind, tmp_path) as url:
        yield url


@pytest.fixture
def own_url(database_kind: str, migrated: URL, tmp_path: Path) -> Iterator[URL]:
    """A database at head, without rows, whose schema the test may change."""
    with new_database(database_kind, tmp_path, template=migrated) as url:
        yield url


@pytest.fixture(scope="session")
def shared_url(
    database_kind: str, migrated: URL, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[URL]:
    """A database at head that tests on PostgreSQL use in turn: a new one takes half a second."""
    with new_database(database_kind, tmp_path_factory.mktemp("shared"), template=migrated) as url:
        yield url


@pytest.fixture
def database_url(database_kind: str, shared_url: URL, tmp_path: Path) -> URL:
    """A database at head, without rows."""
    if database_kind == "sqlite":
        path = tmp_path / "rillwright.db"
        shutil.copyfile(str(shared_url.database), path)
        return make_url(f"sqlite:///{path}")
    names = ", ".join(f'"{name}"' for name in metadata.tables)
    _on_server(f"TRUNCATE {names} RESTART IDENTITY", url=shared_url)
    return shared_url


@pytest.fixture
def engine(database_url: URL) -> Iterator[Engine]:
    """An engine on a database at head, without rows."""
    found = make_engine(database_url)
    yield found
    found.dispose()


@pytest.fixture
def open_unit(engine: Engine) -> UnitOfWorkFactory:
    """Opens units of work on a database at head."""
    return unit_of_work_factory(engine)
