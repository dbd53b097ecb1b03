"""Settings: from the environment, from files, and what follows from the state folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.errors import SettingsInvalid
from service.settings import read_settings


@pytest.mark.parametrize("variable", ["CREDENTIALS_DIRECTORY", "RILLWRIGHT_SECRETS"])
def test_a_secret_may_be_a_file_of_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, variable: str
) -> None:
    (tmp_path / "rillwright_mail_password").write_text("from a file\n")
    monkeypatch.setenv(variable, str(tmp_path))
    assert read_settings().mail_password.get_secret_value() == "from a file"
    monkeypatch.setenv("RILLWRIGHT_MAIL_PASSWORD", "from the environment")
    assert read_settings().mail_password.get_secret_value() == "from the environment"


def test_a_folder_of_secrets_that_is_not_there_stops_the_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RILLWRIGHT_SECRETS", str(tmp_path / "nowhere"))
    with pytest.raises(SettingsInvalid, match="allowed: an existing folder"):
        read_settings()


def test_the_database_is_in_the_state_folder_unless_another_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert read_settings().database_url == "sqlite:///rillwright.db"
    monkeypatch.setenv("RILLWRIGHT_STATE", str(tmp_path))
    assert read_settings().database_url == f"sqlite:///{tmp_path}/rillwright.db"
    monkeypatch.setenv("RILLWRIGHT_DATABASE_URL", "sqlite:///other.db")
    assert read_settings().database_url == "sqlite:///other.db"


def test_backups_are_in_the_state_folder_unless_another_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert read_settings().backup_folder is None
    monkeypatch.setenv("RILLWRIGHT_STATE", str(tmp_path))
    assert read_settings().backup_folder == tmp_path / "backups"
    monkeypatch.setenv("RILLWRIGHT_BACKUP_FOLDER", "/mnt/disk")
    assert read_settings().backup_folder == Path("/mnt/disk")
