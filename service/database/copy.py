"""A copy of a SQLite database as it is at one moment, also while others write to it."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy.engine import make_url

from service.errors import StorageFailed


def copy_sqlite(url: str, to: Path) -> None:
    """Write a copy to a new file, whole and on disk or not at all.

    Raises StorageFailed for another kind of database, and where the copy is not sound.
    """
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        raise StorageFailed(f"{parsed.get_backend_name()}: only a SQLite file is copied")
    unfinished = to.with_suffix(".part")
    unfinished.unlink(missing_ok=True)
    try:
        with (
            closing(sqlite3.connect(f"file:{parsed.database}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(unfinished)) as target,
        ):
            source.backup(target)
            (finding,) = target.execute("PRAGMA integrity_check").fetchone()
    except (sqlite3.Error, OSError) as error:
        unfinished.unlink(missing_ok=True)
        raise StorageFailed(f"{to}: the database cannot be copied: {error}") from error
    if finding != "ok":
        unfinished.unlink()
        raise StorageFailed(f"{to}: the copy is not sound: {finding}")
    unfinished.chmod(0o600)
    with unfinished.open("rb+") as written:
        os.fsync(written.fileno())
    unfinished.rename(to)
