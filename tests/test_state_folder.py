"""The folder of a small installation, and what happens to its database when the version changes."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from service.bootstrap import bring_up_to_date, open_service
from service.database.engine import make_engine
from service.database.migrate import current_revision, downgrade, head_revision, upgrade
from service.errors import SettingsInvalid, StorageFailed
from service.operations.access.manage_keys import list_keys, make_key
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.read_farms import list_farms
from service.settings import Settings
from service.state_folder import KEPT_COPIES, StateFolder
from tests.scheduled_farms import FixedClock
from tests.stored_farms import stored_bundle

CLOCK = FixedClock(datetime(2026, 7, 14, 12, 0, tzinfo=UTC))


@pytest.fixture
def state(tmp_path: Path) -> StateFolder:
    """A new folder."""
    made = StateFolder(tmp_path / "state")
    made.make()
    return made


@pytest.fixture
def settings(state: StateFolder) -> Settings:
    """The settings of an installation in that folder."""
    return Settings(state=state.path, database_url=f"sqlite:///{state.path}/rillwright.db")


def test_the_folder_is_for_its_owner_alone(state: StateFolder) -> None:
    state.make()
    secret = state.page_secret()
    assert len(secret) >= 32
    assert state.page_secret() == secret
    for each in (state.path, state.kernels, state.path / "page-secret"):
        assert each.stat().st_mode & 0o077 == 0, each


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(SettingsInvalid, match="RILLWRIGHT_STATE"):
        StateFolder(tmp_path / "file").make()


def test_kernels_of_other_versions_go(state: StateFolder) -> None:
    (state.kernels / "kept").touch()
    old = state.path / "kernels" / "0123456789abcdef"
    old.mkdir()
    state.drop_old_kernels()
    assert not old.exists()
    assert (state.kernels / "kept").exists()


def test_a_new_installation_begins_with_an_empty_database(
    state: StateFolder, settings: Settings
) -> None:
    assert bring_up_to_date(settings, state, clock=CLOCK) is None
    assert current_revision(settings.database_url) == head_revision()
    assert bring_up_to_date(settings, state, clock=CLOCK) is None
    assert list((state.path / "before-upgrades").iterdir()) == []


def test_an_upgrade_can_be_taken_back_with_the_copy_from_before(
    state: StateFolder, settings: Settings
) -> None:
    url = settings.database_url
    upgrade(url)
    service = open_service(settings, clock=CLOCK)
    load_bundle(
        stored_bundle(),
        effective_day=CLOCK.now().date(),
        unit_of_work=service.unit_of_work,
        clock=CLOCK,
    )
    make_key(
        "pump house",
        farm_id=None,
        scopes=["plan:read"],
        expires_at=None,
        unit_of_work=service.unit_of_work,
        clock=CLOCK,
    )
    service.close()
    older = downgrade(url, revision="-1")
    with pytest.raises(StorageFailed, match="this version expects"):
        open_service(settings)

    copy = bring_up_to_date(settings, state, clock=CLOCK)

    assert copy is not None and copy.name == f"20260714T120000Z-at-{older}.db"
    assert current_revision(url) == head_revision()
    # As the README says it: the copy takes the place of the database, without what was beside it.
    shutil.copyfile(copy, state.path / "rillwright.db")
    for leftover in state.path.glob("rillwright.db-*"):
        leftover.unlink()
    assert current_revision(url) == older
    upgrade(url)
    service = open_service(settings)
    assert [farm.farm_id for farm in list_farms(unit_of_work=service.unit_of_work)] == ["orchard"]
    assert [key.name for key in list_keys(unit_of_work=service.unit_of_work)] == ["pump house"]
    service.close()


def test_a_database_of_a_later_version_is_left_as_it_is(
    state: StateFolder, settings: Settings
) -> None:
    upgrade(settings.database_url)
    engine = make_engine(settings.database_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'of_the_future'")
    engine.dispose()
    assert bring_up_to_date(settings, state, clock=CLOCK) is None
    with pytest.raises(StorageFailed, match="of_the_future"):
        open_service(settings)


def test_a_few_copies_are_kept(state: StateFolder) -> None:
    for day in range(KEPT_COPIES + 3):
        state.name_copy("abc", f"2026071{day}T120000Z").touch()
    kept = sorted(each.name for each in (state.path / "before-upgrades").iterdir())
    assert len(kept) == KEPT_COPIES
    assert kept[0].startswith("20260713")
