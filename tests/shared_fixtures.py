"""Fixtures that tests of several folders share: databases, a browser, a mail relay.

The root conftest registers this file, so it is loaded with every test, and nothing with it: each
fixture imports what it needs when it is first asked for. A test of a pure room therefore waits
neither for SQLAlchemy nor for the rest of the service.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page
    from sqlalchemy import Engine
    from sqlalchemy.engine import URL

    from service.bootstrap import Service
    from service.database.session import UnitOfWorkFactory
    from tests.mail_relay import Relay

POSTGRES_SETTING = "RILLWRIGHT_TEST_POSTGRES_URL"

KINDS = ["sqlite", *(["postgresql"] if os.environ.get(POSTGRES_SETTING) else [])]


@pytest.fixture(scope="session", params=KINDS)
def database_kind(request: pytest.FixtureRequest) -> Iterator[str]:
    """``sqlite`` or ``postgresql``."""
    from tests.databases import end_lending, statements_compiled_once

    with statements_compiled_once():
        yield str(request.param)
    end_lending()


@pytest.fixture(scope="session")
def migrated(database_kind: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """A database at head that tests copy; nobody writes into it."""
    from service.database.engine import make_engine
    from service.database.migrate import upgrade
    from tests.databases import new_database

    with new_database(database_kind, tmp_path_factory.mktemp("migrated")) as url:
        first = make_engine(url)
        upgrade(first)
        first.dispose()  # the last connection to close puts all of SQLite's rows in the one file
        yield url


@pytest.fixture
def empty_url(database_kind: str, tmp_path: Path) -> Iterator[URL]:
    """A database without any table."""
    from tests.databases import new_database

    with new_database(database_kind, tmp_path) as url:
        yield url


@pytest.fixture
def own_url(migrated: URL, tmp_path: Path) -> Iterator[URL]:
    """A database at head, without rows, whose schema the test may change."""
    from tests.databases import copied

    with copied(migrated, tmp_path) as url:
        yield url


@pytest.fixture
def database_url(migrated: URL, tmp_path: Path) -> Iterator[URL]:
    """A database at head, without rows, whose schema stays as it is."""
    from tests.databases import lent

    with lent(migrated, tmp_path) as url:
        yield url


@pytest.fixture
def engine(database_url: URL) -> Iterator[Engine]:
    """An engine on a database at head, without rows."""
    from service.database.engine import make_engine

    found = make_engine(database_url)
    yield found
    found.dispose()


@pytest.fixture
def open_unit(engine: Engine) -> UnitOfWorkFactory:
    """Opens units of work on a database at head."""
    from service.database.session import unit_of_work_factory

    return unit_of_work_factory(engine)


@pytest.fixture(scope="session")
def planned_database(migrated: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """The invented farm's database, which tests copy: planning it takes a second each time."""
    from tests.api.invented_farm import fill, opened_service
    from tests.databases import copied

    with copied(migrated, tmp_path_factory.mktemp("planned")) as url:
        with opened_service(url) as service:
            fill(service)
        yield url


@pytest.fixture
def own_service(planned_database: URL, tmp_path: Path) -> Iterator[Service]:
    """The invented farm, planned once, which one test may change."""
    from tests.api.invented_farm import opened_service
    from tests.databases import lent

    with lent(planned_database, tmp_path) as url, opened_service(url) as made:
        yield made


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium of the distribution."""
    from tests.chromium import open_chromium

    with open_chromium() as opened:
        yield opened


@pytest.fixture(scope="module")
def tab(browser: Browser) -> Iterator[Page]:
    """A tab for looking at pages one after the other."""
    from tests.chromium import new_context

    context = new_context(browser)
    yield context.new_page()
    context.close()


@pytest.fixture
def relay() -> Iterator[Relay]:
    """A mail relay on this machine that takes what comes."""
    from tests.mail_relay import running_relay

    with running_relay() as found:
        yield found
