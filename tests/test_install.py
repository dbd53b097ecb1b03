"""The way back after an upgrade: the version before, with the database as it was then."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
OLD, NEW = "20260701T120000Z", "20260714T120000Z"


def database(path: Path, revision: str, farm: str) -> None:
    with closing(sqlite3.connect(path)) as made:
        made.execute("CREATE TABLE alembic_version (version_num TEXT)")
        made.execute("CREATE TABLE farm (name TEXT)")
        made.execute("INSERT INTO alembic_version VALUES (?)", (revision,))
        made.execute("INSERT INTO farm VALUES (?)", (farm,))
        made.commit()


def farm_in(path: Path) -> str:
    with closing(sqlite3.connect(path)) as opened:
        (name,) = opened.execute("SELECT name FROM farm").fetchone()
    return str(name)


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """Two versions, of which the later one has changed the database, after a copy of it."""
    home, state = tmp_path / "opt/rillwright", tmp_path / "var/lib/rillwright"
    for version, revision in ((OLD, "first"), (NEW, "second")):
        (home / version / "bin").mkdir(parents=True)
        (home / version / "bin" / "python").symlink_to(sys.executable)
        (home / version / "revision").write_text(f"{revision}\n")
    (home / "current").symlink_to(NEW)
    (home / "before").symlink_to(OLD)
    (state / "before-upgrades").mkdir(parents=True)
    database(state / "rillwright.db", "second", "as it is now")
    (state / "rillwright.db-wal").touch()
    for day, revision, farm in (
        ("20260601", "first", "long ago"),
        ("20260714", "first", "before the upgrade"),
        ("20260715", "zeroth", "of another version"),
    ):
        copy = state / "before-upgrades" / f"{day}T120100Z-at-{revision}.db"
        database(copy, revision, farm)
    return tmp_path


def install(root: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "deploy/install.sh", *arguments],
        cwd=ROOT,
        env={**os.environ, "ROOT": str(root)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_back_is_the_version_before_with_the_newest_copy_that_it_can_read(installed: Path) -> None:
    done = install(installed, "--back")
    assert done.returncode == 0, done.stdout + done.stderr
    home, state = installed / "opt/rillwright", installed / "var/lib/rillwright"
    assert ((home / "current").readlink().name, (home / "before").readlink().name) == (OLD, NEW)
    assert farm_in(state / "rillwright.db") == "before the upgrade"
    assert farm_in(state / "rillwright.db.undone") == "as it is now"
    assert not (state / "rillwright.db-wal").exists()


def test_a_database_that_the_version_before_can_read_stays(installed: Path) -> None:
    (installed / "opt/rillwright" / OLD / "revision").write_text("second\n")
    assert install(installed, "--back").returncode == 0
    assert (installed / "opt/rillwright/current").readlink().name == OLD
    assert farm_in(installed / "var/lib/rillwright/rillwright.db") == "as it is now"


def test_without_a_copy_nothing_is_changed(installed: Path) -> None:
    (installed / "opt/rillwright" / OLD / "revision").write_text("unheard-of\n")
    refused = install(installed, "--back")
    assert refused.returncode == 2
    assert "no copy of the database" in refused.stderr
    assert (installed / "opt/rillwright/current").readlink().name == NEW
    assert farm_in(installed / "var/lib/rillwright/rillwright.db") == "as it is now"


def test_an_unknown_wish_is_refused(installed: Path) -> None:
    refused = install(installed, "--forward")
    assert (refused.returncode, "--tools, --cluster, --office, --back" in refused.stderr) == (
        2,
        True,
    )
