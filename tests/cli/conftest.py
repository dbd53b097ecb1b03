"""The command line called in process, and a database that holds the invented demonstration farm."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from typing import Any

import orjson
import pytest
from sqlalchemy.engine import URL, make_url
from typer.main import get_command
from typer.testing import CliRunner, Result

from service.cli import app
from tests.databases import address, copied, lent

Command = Callable[..., Result]


def call(database: URL | str, *arguments: str, **settings: str) -> Result:
    """One command on a database, in a terminal of 80 columns."""
    return CliRunner().invoke(
        app,
        list(arguments),
        env={"RILLWRIGHT_DATABASE_URL": address(make_url(database)), "COLUMNS": "80", **settings},
    )


def document(result: Result) -> Any:
    """What a command printed with --json."""
    assert result.exit_code == 0, result.output
    return orjson.loads(result.stdout)


@pytest.fixture(scope="session", autouse=True)
def _commands_made_once() -> Iterator[None]:
    """The runner would make all commands again for each call, which takes longer than most do."""
    patch = pytest.MonkeyPatch()
    patch.setattr("typer.testing._get_command", cache(get_command))
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def _logs_as_they_were() -> Iterator[None]:
    """Commands that run for long configure the logs of their process, which here is the tests'."""
    root = logging.getLogger()
    before = list(root.handlers), root.level
    yield
    root.handlers[:], root.level = before


@pytest.fixture(scope="session")
def demo_database(migrated: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    """A database after ``rillwright demo``; only to be read."""
    with copied(migrated, tmp_path_factory.mktemp("demo")) as url:
        result = call(url, "demo")
        assert result.exit_code == 0, result.output
        yield url


@pytest.fixture
def demo(demo_database: URL) -> Command:
    """Commands that only read the demonstration's database."""
    return partial(call, demo_database)


@pytest.fixture
def own_demo_url(demo_database: URL, tmp_path: Path) -> Iterator[URL]:
    """A copy of the demonstration's database that a test may change."""
    with lent(demo_database, tmp_path) as url:
        yield url


@pytest.fixture
def own_demo(own_demo_url: URL) -> Command:
    """Commands on such a copy."""
    return partial(call, own_demo_url)


@pytest.fixture
def empty(database_url: URL) -> Command:
    """Commands on a migrated database that holds nothing."""
    return partial(call, database_url)
