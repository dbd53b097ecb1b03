"""Restoring a backup: at once and whole, never over what is there unless told so."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy.engine import URL

from service.database.backup import MANIFEST_NAME, make_backup, read_manifest
from service.database.engine import make_engine
from service.database.migrate import known_revisions
from service.database.restore import restore_backup
from service.errors import Conflict, InputInvalid, StorageFailed
from tests.databases import address, beside, copied

NOW = datetime(2026, 7, 14, 9, 0, tzinfo=UTC)
FIRST_REVISION = min(known_revisions())


@pytest.fixture(scope="module")
def made(planned_database: URL, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A backup of the invented farm, which tests only read."""
    folder = tmp_path_factory.mktemp("made")
    with copied(planned_database, folder) as url:
        make_backup(address(url), folder / "backup", now=NOW)
    yield folder / "backup"


def farms_of(url: URL) -> list[str]:
    engine = make_engine(url)
    with engine.connect() as connection:
        found = connection.exec_driver_sql("SELECT farm_id FROM farm ORDER BY farm_id").scalars()
        farms = [str(each) for each in found]
    engine.dispose()
    return farms


def test_a_backup_becomes_the_database_where_there_is_none(made: Path, empty_url: URL) -> None:
    done = restore_backup(made, address(empty_url), now=NOW)
    assert done.kept_aside is None
    assert done.manifest == read_manifest(made)
    assert farms_of(empty_url) == ["later-farm", "test-farm"]
    (name,) = beside(empty_url)
    assert str(empty_url.database).endswith(name)


def test_a_database_that_is_there_stays_unless_it_may_be_replaced(made: Path, own_url: URL) -> None:
    with pytest.raises(Conflict, match="--replace"):
        restore_backup(made, address(own_url), now=NOW)
    assert farms_of(own_url) == []
    assert len(beside(own_url)) == 1

    done = restore_backup(made, address(own_url), now=NOW, replaces=True)

    assert farms_of(own_url) == ["later-farm", "test-farm"]
    assert done.kept_aside is not None and "before" in done.kept_aside
    name = done.kept_aside.removeprefix("database ")
    assert farms_of(own_url.set(database=name)) == []
    assert len(beside(own_url)) == 2


def test_a_database_that_is_in_use_is_left_alone(made: Path, own_url: URL) -> None:
    service = make_engine(own_url)
    with service.connect() as connection:
        connection.exec_driver_sql("SELECT 1")
        with pytest.raises(StorageFailed, match="stop the service first"):
            restore_backup(made, address(own_url), now=NOW, replaces=True)
    service.dispose()
    assert farms_of(own_url) == []
    assert len(beside(own_url)) == 1


def test_a_restored_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/new/farm.db"
    with closing(sqlite3.connect(tmp_path / "old.db")) as opened:
        opened.execute("CREATE TABLE alembic_version (version_num TEXT)")
        opened.execute("INSERT INTO alembic_version VALUES (?)", (FIRST_REVISION,))
        opened.commit()
    make_backup(f"sqlite:///{tmp_path}/old.db", tmp_path / "backup", now=NOW)
    restore_backup(tmp_path / "backup", url, now=NOW)
    assert (tmp_path / "new" / "farm.db").stat().st_mode & 0o777 == 0o600


def test_a_damaged_file_is_replaced_with_what_belongs_to_it(tmp_path: Path) -> None:
    """A journal that stays behind would be played into the restored file."""
    path = tmp_path / "farm.db"
    with closing(sqlite3.connect(path)) as opened:
        opened.execute("CREATE TABLE alembic_version (version_num TEXT)")
        opened.execute("INSERT INTO alembic_version VALUES (?)", (FIRST_REVISION,))
        opened.commit()
    make_backup(f"sqlite:///{path}", tmp_path / "backup", now=NOW)
    path.write_bytes(b"nothing that SQLite knows" * 400)
    for tail in ("-wal", "-shm"):
        Path(f"{path}{tail}").write_bytes(b"left")
    with pytest.raises(StorageFailed, match="cannot be read as a database"):
        restore_backup(tmp_path / "backup", f"sqlite:///{path}", now=NOW)

    done = restore_backup(tmp_path / "backup", f"sqlite:///{path}", now=NOW, replaces=True)

    with closing(sqlite3.connect(path)) as opened:
        assert opened.execute("SELECT * FROM alembic_version").fetchall() == [(FIRST_REVISION,)]
    assert done.kept_aside == f"{path}.before-restore-20260714T090000Z"
    assert Path(done.kept_aside).read_bytes().startswith(b"nothing that SQLite knows")
    assert not Path(f"{path}-wal").exists()


def test_a_backup_that_does_not_fit_changes_nothing(
    made: Path, own_url: URL, tmp_path: Path, database_kind: str
) -> None:
    other = {
        "sqlite": "postgresql+psycopg://nobody@127.0.0.1:1/nowhere",
        "postgresql": f"sqlite:///{tmp_path}/nowhere.db",
    }[database_kind]
    with pytest.raises(InputInvalid, match=f"a {database_kind} database"):
        restore_backup(made, other, now=NOW)

    folder = tmp_path / "damaged"
    folder.mkdir()
    for each in made.iterdir():
        (folder / each.name).write_bytes(each.read_bytes())
    copy = folder / read_manifest(made).file_name
    copy.write_bytes(copy.read_bytes()[:-1])
    with pytest.raises(StorageFailed, match="has changed since"):
        restore_backup(folder, address(own_url), now=NOW, replaces=True)
    assert farms_of(own_url) == []
    assert len(beside(own_url)) == 1


def test_a_backup_of_a_later_version_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "later.db")) as opened:
        opened.execute("CREATE TABLE alembic_version (version_num TEXT)")
        opened.execute("INSERT INTO alembic_version VALUES ('of_the_future')")
        opened.commit()
    make_backup(f"sqlite:///{tmp_path}/later.db", tmp_path / "backup", now=NOW)
    file = tmp_path / "backup" / MANIFEST_NAME
    file.write_text(json.dumps({**json.loads(file.read_text()), "service_version": "99.1"}))
    with pytest.raises(InputInvalid, match=r"of_the_future.*the backup was made by 99\.1"):
        restore_backup(tmp_path / "backup", f"sqlite:///{tmp_path}/farm.db", now=NOW)
    assert not (tmp_path / "farm.db").exists()
