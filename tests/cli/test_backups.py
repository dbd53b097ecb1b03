"""Backups from the command line: made, looked at, restored, and refused where that would hurt."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from sqlalchemy.engine import URL

from tests.cli.conftest import call, document
from tests.databases import copied


def test_a_backup_is_made_verified_and_restored(
    demo_database: URL, empty_url: URL, tmp_path: Path
) -> None:
    demo = partial(call, demo_database)
    made = document(demo("backup", str(tmp_path / "kept"), "--json"))
    assert made["rows"]["farm"] == 1 and made["rows"]["plan"] > 0
    assert made["folder"] == str(tmp_path / "kept")

    verified = demo("verify", str(tmp_path / "kept"))
    assert verified.exit_code == 0, verified.output
    assert verified.stdout.startswith(f"Sound: {tmp_path}/kept\n")
    assert f"schema {made['revision']}" in verified.stdout
    assert "farms 1" in verified.stdout

    restored = call(empty_url, "restore", str(tmp_path / "kept"))
    assert restored.exit_code == 0, restored.output
    assert restored.stdout.startswith("Restored: ")
    plans = call(empty_url, "plan", "--json")
    assert document(plans) == document(demo("plan", "--json"))


def test_a_folder_that_exists_gets_a_dated_one(demo_database: URL, tmp_path: Path) -> None:
    made = call(demo_database, "backup", str(tmp_path))
    assert made.exit_code == 0, made.output
    (folder,) = tmp_path.iterdir()
    assert made.stdout.startswith(f"Made: {folder}\n")
    assert {each.name for each in folder.iterdir()} > {"manifest.json"}
    refused = call(demo_database, "backup", str(folder))
    assert refused.exit_code == 2
    assert "allowed: a folder that is yet to be" in refused.stderr


def test_nothing_is_replaced_without_a_word(
    demo_database: URL, migrated: URL, tmp_path: Path
) -> None:
    assert call(demo_database, "backup", str(tmp_path / "kept")).exit_code == 0
    with copied(migrated, tmp_path) as url:
        refused = call(url, "restore", str(tmp_path / "kept"))
        assert refused.exit_code == 1
        assert "nothing was changed; with --replace" in refused.stderr
        done = call(url, "restore", str(tmp_path / "kept"), "--replace")
        assert done.exit_code == 0, done.output
        assert "What was there before is kept as " in done.stderr
        assert call(url, "restore", str(tmp_path / "nothing")).exit_code == 2


def test_a_schedule_of_backups_is_kept_and_looked_after(own_demo_url: URL, tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    own = partial(call, own_demo_url, RILLWRIGHT_BACKUP_FOLDER=str(folder))
    assert "no backup has been made on schedule" in own("check").stdout
    assert own("schedule", "--once").exit_code == 0
    (made,) = folder.iterdir()
    assert own("verify", str(made)).exit_code == 0
    assert own("schedule", "--once").stdout == "nothing is due\n"
    assert list(folder.iterdir()) == [made]
    assert "no backup" not in own("check").stdout
    off = call(
        own_demo_url,
        "check",
        RILLWRIGHT_BACKUP_FOLDER=str(folder),
        RILLWRIGHT_BACKUP_DAILY_KEPT="0",
    )
    assert "no backup" not in off.stdout
