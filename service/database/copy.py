"""A copy of a SQLite database as it is at one moment, also while others write to it, and what any
such file holds.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy.engine import make_url

from service.errors import StorageFailed
from service.records.backups import Contents


def copy_sqlite(url: str, to: Path) -> None:
    """Write a copy to a new file for this user alone, whole and on disk or not at all.

    Writers are not held up: the copy is of what was committed when it began. Raises StorageFailed
    for another kind of database, and where the copy is not sound.
    """
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        raise StorageFailed(f"{parsed.get_backend_name()}: only a SQLite file is copied")
    unfinished = to.with_suffix(".part")
    unfinished.unlink(missing_ok=True)
    try:
        os.close(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        with (
            closing(sqlite3.connect(_address(Path(parsed.database)), uri=True)) as source,
            closing(sqlite3.connect(unfinished)) as target,
        ):
            source.backup(target)
            _check_integrity(target, to)
        with unfinished.open("rb+") as written:
            os.fsync(written.fileno())
        unfinished.rename(to)
        sync_folder(to.parent)
    except (sqlite3.Error, OSError) as error:
        unfinished.unlink(missing_ok=True)
        raise StorageFailed(f"{to}: the database cannot be copied: {error}") from error
    except StorageFailed:
        unfinished.unlink(missing_ok=True)
        raise


def read_sqlite(path: Path, *, is_at_rest: bool) -> Contents:
    """What a database file holds, after a check of every page and index of it.

    At rest: nobody may have it open, and no file appears beside it. Raises StorageFailed if it is
    not sound.
    """
    try:
        with closing(sqlite3.connect(_address(path, is_at_rest=is_at_rest), uri=True)) as opened:
            _check_integrity(opened, path)
            names = [
                name
                for (name,) in opened.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'table'"
                    " AND name NOT LIKE 'sqlite^_%' ESCAPE '^' ORDER BY name"
                )
            ]
            counts = {
                name: int(opened.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0])
                for name in names
            }
            found = (
                opened.execute("SELECT version_num FROM alembic_version").fetchone()
                if "alembic_version" in counts
                else None
            )
    except sqlite3.Error as error:
        raise StorageFailed(f"{path}: it cannot be read as a database: {error}") from error
    return Contents(revision=None if found is None else str(found[0]), row_counts=counts)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on disk, so that a power cut does not undo a rename."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _address(path: Path, *, is_at_rest: bool = False) -> str:
    """A file that must exist; not read-only, since such a reader leaves its journal behind."""
    return f"{path.absolute().as_uri()}?{'immutable=1' if is_at_rest else 'mode=rw'}"


def _check_integrity(opened: sqlite3.Connection, path: Path) -> None:
    (finding,) = opened.execute("PRAGMA integrity_check").fetchone()
    if finding != "ok":
        raise StorageFailed(f"{path}: the copy is not sound: {finding}")
