"""The commands that keep copies of the database: make one, look whether it is sound, restore it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from service.bootstrap import SystemClock
from service.cli.terminal import JsonOption, note, out, print_json
from service.database.backup import MANIFEST_NAME, check_backup, make_backup, manifest_document
from service.database.migrate import head_revision
from service.database.restore import restore_backup
from service.operations.backups.keep_backups import name_backup
from service.records.backups import Manifest
from service.settings import read_settings


def backup(
    to: Annotated[
        Path, typer.Argument(help="A new folder; in one that exists, a dated one is made.")
    ],
    as_json: JsonOption = False,
) -> None:
    """Make a backup of the database; the service may go on writing meanwhile.

    Of PostgreSQL, pg_dump of the server's version or a later one makes it. A backup holds mail
    addresses and digests of keys: its files are for their owner alone.
    """
    settings, now = read_settings(), SystemClock().now()
    is_for_many = to.is_dir() and not (to / MANIFEST_NAME).exists()
    folder = to / name_backup(now) if is_for_many else to
    manifest = make_backup(settings.database_url, folder, now=now, tools=settings.postgres_tools)
    _show(folder, manifest, as_json=as_json, what="Made")


def verify(
    backup_folder: Annotated[Path, typer.Argument(metavar="FROM", help="The folder of a backup.")],
    as_json: JsonOption = False,
) -> None:
    """Read a backup to its last byte: checksum, integrity, schema revision and rows by table."""
    manifest = check_backup(backup_folder, tools=read_settings().postgres_tools)
    _show(backup_folder, manifest, as_json=as_json, what="Sound")


def restore(
    backup_folder: Annotated[Path, typer.Argument(metavar="FROM", help="The folder of a backup.")],
    replaces: Annotated[
        bool,
        typer.Option(
            "--replace", help="Take the place of the database that is there, and keep it."
        ),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Put a backup in the place of the database. Stop the service first.

    The backup is verified, restored beside the database and takes its name at the end; a database
    that was there is kept under another name.
    """
    settings = read_settings()
    done = restore_backup(
        backup_folder,
        settings.database_url,
        now=SystemClock().now(),
        replaces=replaces,
        tools=settings.postgres_tools,
    )
    _show(backup_folder, done.manifest, as_json=as_json, what="Restored", aside=done.kept_aside)
    if done.kept_aside is not None:
        note(f"What was there before is kept as {done.kept_aside}.")
    if done.manifest.contents.revision != head_revision():
        note("It is of an earlier version; `rillwright migrate` brings it up to date.")


def _show(
    folder: Path, manifest: Manifest, *, as_json: bool, what: str, aside: str | None = None
) -> None:
    if as_json:
        print_json({**manifest_document(manifest), "folder": str(folder), "kept_aside": aside})
        return
    counts = manifest.contents.row_counts
    out.print(f"{what}: {folder}", soft_wrap=True)
    out.print(
        f"{manifest.database}, {manifest.byte_count / 1e6:.1f} MB, of"
        f" {manifest.made_at:%Y-%m-%d %H:%M} UTC, schema {manifest.contents.revision}"
    )
    out.print(
        f"{manifest.contents.row_count} rows in {len(counts)} tables; farms"
        f" {counts.get('farm', 0)}, blocks {counts.get('block', 0)}, plans {counts.get('plan', 0)},"
        f" keys {counts.get('api_key', 0)}"
    )
