"""Copies of SQLite databases: whole, also while somebody writes, and only of what can be copied."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from service.database.copy import copy_sqlite
from service.errors import StorageFailed


@pytest.fixture
def original(tmp_path: Path) -> Path:
    """A database in write-ahead mode with a row that is not yet in its main file."""
    path = tmp_path / "original.db"
    with closing(sqlite3.connect(path)) as made:
        made.execute("PRAGMA journal_mode=WAL")
        made.execute("CREATE TABLE farm (name TEXT)")
        made.commit()
    return path


def names(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as opened:
        return [name for (name,) in opened.execute("SELECT name FROM farm ORDER BY name")]


def test_a_copy_holds_what_was_committed_and_not_what_is_being_written(
    original: Path, tmp_path: Path
) -> None:
    with closing(sqlite3.connect(original)) as writer:
        writer.execute("INSERT INTO farm VALUES ('committed')")
        writer.commit()
        writer.execute("INSERT INTO farm VALUES ('not yet')")
        copy_sqlite(f"sqlite:///{original}", tmp_path / "copy.db")
        writer.commit()
    assert names(tmp_path / "copy.db") == ["committed"]
    assert names(original) == ["committed", "not yet"]
    assert (tmp_path / "copy.db").stat().st_mode & 0o077 == 0
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize(
    "url", ["postgresql+psycopg://somebody@nowhere/farm", "sqlite:///no/such/folder/farm.db"]
)
def test_what_cannot_be_copied_leaves_nothing_behind(url: str, tmp_path: Path) -> None:
    with pytest.raises(StorageFailed):
        copy_sqlite(url, tmp_path / "copy.db")
    assert list(tmp_path.iterdir()) == []


def test_a_broken_database_gives_no_copy(original: Path, tmp_path: Path) -> None:
    original.write_bytes(b"SQLite format 3\0" + b"\xff" * 4096)
    with pytest.raises(StorageFailed, match="cannot be copied"):
        copy_sqlite(f"sqlite:///{original}", tmp_path / "copy.db")
    assert not list(tmp_path.glob("copy*"))
