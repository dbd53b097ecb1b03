"""The command line called in process, and a database that holds the invented demonstration farm."""

from __future__ import annotations

import logging
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
from typer.testing import CliRunner, Result

from service.cli import app

Command = Callable[..., Result]


def call(database: Path, *arguments: str) -> Result:
    """One command on a SQLite file, in a terminal of 80 columns."""
    return CliRunner().invoke(
        app,
        list(arguments),
        env={"RILLWRIGHT_DATABASE_URL": f"sqlite:///{database}", "COLUMNS": "80"},
    )


def document(result: Result) -> Any:
    """What a command printed with --json."""
    assert result.exit_code == 0, result.output
    return orjson.loads(result.stdout)


@pytest.fixture(autouse=True)
def _logs_as_they_were() -> Iterator[None]:
    """Commands that run for long configure the logs of their process, which here is the tests'."""
    root = logging.getLogger()
    before = list(root.handlers), root.level
    yield
    root.handlers[:], root.level = before


@pytest.fixture(scope="session")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database after ``rillwright demo``; only to be read."""
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    result = call(path, "demo")
    assert result.exit_code == 0, result.output
    return path


@pytest.fixture
def demo(demo_database: Path) -> Command:
    """Commands that only read the demonstration's database."""
    return lambda *arguments: call(demo_database, *arguments)


@pytest.fixture
def own_demo(demo_database: Path, tmp_path: Path) -> Command:
    """Commands on a copy of the demonstration's database that a test may change."""
    own = tmp_path / "own.db"
    for path in demo_database.parent.glob(f"{demo_database.name}*"):
        shutil.copy(path, own.with_name(path.name.replace(demo_database.name, own.name)))
    return lambda *arguments: call(own, *arguments)


@pytest.fixture
def empty(tmp_path: Path) -> Command:
    """Commands on a migrated database that holds nothing."""
    path = tmp_path / "empty.db"
    assert call(path, "migrate").exit_code == 0
    return lambda *arguments: call(path, *arguments)
