"""Backups: a folder with a copy of the database and a manifest of what it must hold.

    manifest.json           checksum, schema revision, version, rows by table
    rillwright.db           the copy of a SQLite file, or
    rillwright.dump         a dump of a PostgreSQL database

A backup is made under another name beside its place, read back, and renamed: what has its name is
whole. It holds mail addresses and digests of keys, so only its owner may read it.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import orjson
from sqlalchemy.engine import URL

from service import __version__
from service.database.copy import copy_sqlite, read_sqlite, sync_folder
from service.database.engine import checked_url
from service.database.postgres_dump import dump_postgres, find_tool, read_dump, tool_version
from service.database.writing import LEAST_FREE_BYTES
from service.errors import Fault, InputInvalid, StorageFailed
from service.records.backups import Contents, Manifest

MANIFEST_NAME: Final = "manifest.json"
FORMAT: Final = 1
SAID_TABLES: Final = 5
_NAMES: Final = {"sqlite": "rillwright.db", "postgresql": "rillwright.dump"}


def make_backup(url: str, to: Path, *, now: datetime, tools: Path | None = None) -> Manifest:
    """Make a backup in a new folder, and read it back; others may write meanwhile.

    ``tools``: folder of PostgreSQL's programs; None: those of PATH. Raises InputInvalid where
    something is in the way, StorageFailed where it cannot be made; then nothing is left behind.
    """
    database = checked_url(url)
    if to.exists():
        raise InputInvalid(
            "the backup was not made", [Fault(str(to), "it exists", "a folder that is yet to be")]
        )
    unfinished = to.with_name(f".{to.name}.part")
    try:
        shutil.rmtree(unfinished, ignore_errors=True)
        unfinished.mkdir(mode=0o700, parents=True)
        _check_room(database, unfinished)
        manifest = _fill(database, unfinished, now=now, tools=tools)
        unfinished.rename(to)
        sync_folder(to.parent)
    except OSError as error:
        raise StorageFailed(f"{to}: the backup cannot be written: {error}") from error
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return manifest


def check_backup(folder: Path, *, tools: Path | None = None) -> Manifest:
    """Read a backup to its last byte and hold it against its manifest.

    Raises InputInvalid where there is no backup, StorageFailed where it is not what it was.
    """
    manifest = read_manifest(folder)
    copy = folder / manifest.file_name
    try:
        found = file_digest(copy)
    except OSError as error:
        raise StorageFailed(f"{copy}: it cannot be read: {error.strerror}") from error
    if found != manifest.sha256:
        raise StorageFailed(
            f"{copy}: it has changed since the backup was made: its checksum is {found}, and"
            f" {manifest.sha256} by the manifest"
        )
    contents = (
        read_sqlite(copy, is_at_rest=True)
        if manifest.database == "sqlite"
        else read_dump(copy, tools=tools)
    )
    check_contents(contents, manifest, copy)
    return manifest


def check_contents(found: Contents, manifest: Manifest, where: object) -> None:
    """Raise StorageFailed unless a copy holds what the manifest says."""
    expected = manifest.contents
    if found.revision != expected.revision:
        raise StorageFailed(
            f"{where}: its schema is {found.revision}, and {expected.revision} by the manifest"
        )
    names = sorted(found.row_counts.keys() | expected.row_counts.keys())
    other = [
        f"{name} {found.row_counts.get(name, 'none')}, not {expected.row_counts.get(name, 'none')}"
        for name in names
        if found.row_counts.get(name) != expected.row_counts.get(name)
    ]
    if other:
        more = f" and {len(other) - SAID_TABLES} more" if len(other) > SAID_TABLES else ""
        raise StorageFailed(
            f"{where}: other numbers of rows than by the manifest:"
            f" {'; '.join(other[:SAID_TABLES])}{more}"
        )


def read_manifest(folder: Path) -> Manifest:
    """What a backup says of itself; raises InputInvalid where there is none."""
    file = folder / MANIFEST_NAME
    try:
        document = orjson.loads(file.read_bytes())
        if document["format"] != FORMAT:
            raise ValueError(f"format {document['format']}")
        return _manifest(document)
    except (OSError, ValueError, KeyError, TypeError) as error:
        reason = error.strerror if isinstance(error, OSError) else f"{error}"
        raise InputInvalid(
            "there is no backup that this version can read",
            [Fault(str(file), str(reason), f"the manifest of a backup, format {FORMAT}")],
        ) from error


def file_digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as reader:
        return hashlib.file_digest(reader, "sha256").hexdigest()


def _fill(database: URL, folder: Path, *, now: datetime, tools: Path | None) -> Manifest:
    kind = database.get_backend_name()
    copy = folder / _NAMES[kind]
    if kind == "sqlite":
        copy_sqlite(str(database), copy)
        contents = read_sqlite(copy, is_at_rest=True)
        made_with = f"SQLite {sqlite3.sqlite_version}"
    else:
        os.close(os.open(copy, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        contents = dump_postgres(database, copy, tools=tools)
        made_with = tool_version(find_tool("pg_dump", tools, least=0))
    manifest = Manifest(
        made_at=now,
        service_version=__version__,
        database=kind,
        made_with=made_with,
        file_name=copy.name,
        byte_count=copy.stat().st_size,
        sha256=file_digest(copy),
        contents=contents,
    )
    if kind == "postgresql":
        check_contents(read_dump(copy, tools=tools), manifest, copy)
    handle = os.open(folder / MANIFEST_NAME, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as writer:
        writer.write(orjson.dumps(manifest_document(manifest), option=orjson.OPT_INDENT_2) + b"\n")
        writer.flush()
        os.fsync(writer.fileno())
    sync_folder(folder)
    return manifest


def manifest_document(manifest: Manifest) -> dict[str, object]:
    """A manifest as JSON has it."""
    return {
        "format": FORMAT,
        "made_at": manifest.made_at,
        "service_version": manifest.service_version,
        "database": manifest.database,
        "made_with": manifest.made_with,
        "file": manifest.file_name,
        "bytes": manifest.byte_count,
        "sha256": manifest.sha256,
        "revision": manifest.contents.revision,
        "rows": dict(manifest.contents.row_counts),
    }


def _manifest(document: Any) -> Manifest:
    if document["database"] not in _NAMES or document["file"] != _NAMES[document["database"]]:
        raise ValueError(f"database {document['database']!r} in a file {document['file']!r}")
    return Manifest(
        made_at=datetime.fromisoformat(document["made_at"]),
        service_version=str(document["service_version"]),
        database=str(document["database"]),
        made_with=str(document["made_with"]),
        file_name=str(document["file"]),
        byte_count=int(document["bytes"]),
        sha256=str(document["sha256"]),
        contents=Contents(
            document["revision"], {str(name): int(n) for name, n in document["rows"].items()}
        ),
    )


def _check_room(database: URL, folder: Path) -> None:
    """Raise StorageFailed where a copy of a SQLite file would fill the disk."""
    if database.get_backend_name() != "sqlite":
        return
    needed = LEAST_FREE_BYTES + sum(
        file.stat().st_size
        for tail in ("", "-wal")
        if (file := Path(f"{database.database}{tail}")).exists()
    )
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise StorageFailed(
            f"{folder.parent}: {free / 1e6:.0f} MB are free, and a backup takes up to"
            f" {needed / 1e6:.0f} MB with what the service needs beside it"
        )
