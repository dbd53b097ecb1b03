"""The schema: built by the migrations alone, equal to the tables, up and down with rows in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import CheckConstraint, Engine, inspect, select
from sqlalchemy.engine import URL

from service.database import migrate
from service.database.engine import make_engine
from service.database.migrate import check_schema
from service.database.month_parts import is_part
from service.database.session import unit_of_work_factory
from service.database.tables import farm, metadata
from service.errors import StorageFailed
from tests.stored_farms import (
    stored_block,
    stored_bundle,
    stored_farm,
    stored_site,
    stored_supply,
)

DAY = date(2026, 7, 1)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


@pytest.fixture
def engine(own_url: URL) -> Iterator[Engine]:
    found = make_engine(own_url)
    yield found
    found.dispose()


def table_names(engine: Engine) -> set[str]:
    names = set(inspect(engine).get_table_names()) - {"alembic_version"}
    return {name for name in names if not is_part(name)}


def test_an_empty_database_is_brought_to_head(empty_url: URL) -> None:
    engine = make_engine(empty_url)
    assert migrate.current_revision(engine) is None

    assert migrate.upgrade(engine) == migrate.head_revision()

    check_schema(engine)
    assert table_names(engine) == set(metadata.tables)
    engine.dispose()


def test_a_url_can_be_given_instead_of_an_engine(empty_url: URL) -> None:
    url = empty_url.render_as_string(hide_password=False)
    assert migrate.upgrade(url) == migrate.head_revision()
    assert migrate.current_revision(url) == migrate.head_revision()


def test_upgrading_twice_changes_nothing(engine: Engine) -> None:
    before = migrate.current_revision(engine)
    assert migrate.upgrade(engine) == before


def test_head_equals_the_tables_of_the_code(engine: Engine) -> None:
    with engine.connect() as connection:
        context = MigrationContext.configure(
            connection,
            opts={
                "compare_type": True,
                "include_name": lambda name, kind, _: kind != "table" or not is_part(name),
            },
        )
        assert compare_metadata(context, metadata) == []


def test_head_has_the_check_constraints_of_the_code(engine: Engine) -> None:
    # Autogenerate does not compare CHECK constraints, so they are compared here by name.
    inspector = inspect(engine)
    for table in metadata.sorted_tables:
        stated = {str(each.name) for each in table.constraints if isinstance(each, CheckConstraint)}
        stored = {str(each["name"]) for each in inspector.get_check_constraints(table.name)}
        assert stored == stated, table.name


def test_there_is_one_head() -> None:
    config = Config()
    config.set_main_option("script_location", str(migrate.find_scripts()))
    config.set_main_option("path_separator", "os")
    assert ScriptDirectory.from_config(config).get_heads() == [migrate.head_revision()]


def test_every_step_goes_down_and_up_again_with_rows_present(engine: Engine) -> None:
    open_unit = unit_of_work_factory(engine)
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=DAY, recorded_at=NOW)

    assert migrate.downgrade(engine, revision="base") is None
    assert table_names(engine) == set()

    migrate.upgrade(engine)
    with open_unit(write=True) as unit:
        outcome = unit.blocks.save_bundle(stored_bundle(), effective_day=DAY, recorded_at=NOW)
    assert outcome.created_count == 5


def test_upgrading_keeps_the_rows_that_are_there(engine: Engine) -> None:
    open_unit = unit_of_work_factory(engine)
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(stored_bundle(), effective_day=DAY, recorded_at=NOW)
    migrate.upgrade(engine)
    with engine.connect() as connection:
        assert connection.execute(select(farm.c.farm_id)).scalars().all() == ["orchard"]


def test_readings_of_a_place_that_one_farm_uses_become_that_farms(engine: Engine) -> None:
    open_unit = unit_of_work_factory(engine)
    own = stored_bundle(
        stored_block(site_id="hill"), sites=(stored_site(), stored_site("hill")), counties=()
    )
    shared = stored_bundle(
        stored_block("vineyard.east"),
        farm=stored_farm("vineyard"),
        supplies=(stored_supply(farm_id="vineyard"),),
    )
    with open_unit(write=True) as unit:
        for bundle in (own, shared):
            unit.blocks.save_bundle(bundle, effective_day=DAY, recorded_at=NOW)
        keys = [unit.blocks.get_site_key(name) for name in ("hill", "hollow")]
    migrate.downgrade(engine, revision="202611300710")
    with engine.begin() as connection:
        for site_key in keys:
            connection.exec_driver_sql(
                "INSERT INTO rain_gauge_reading (site_key, read_at, version, covers_from, rain_mm,"
                " kind, note, reporter, recorded_at) VALUES"
                f" ({site_key}, '{NOW.isoformat()}', 1, '{NOW.isoformat()}', 4.5, 'measured', '',"
                f" 'Kim', '{NOW.isoformat()}')"
            )
            connection.exec_driver_sql(
                "INSERT INTO weather_day (site_key, day, source, kind, issued_at, fetched_at,"
                f" rain_mm) VALUES ({site_key}, '{DAY}', 'gauge', 'observed', '{NOW.isoformat()}',"
                f" '{NOW.isoformat()}', 4.5)"
            )

    migrate.upgrade(engine)

    with open_unit(write=False) as unit:
        sites = np.array(keys)
        of_farms = unit.rain.read_days(sites, first_day=DAY, last_day=DAY)
        of_places = unit.weather.read_rows(sites, first_day=DAY, last_day=DAY)
        orchard = unit.blocks.farm_keys(["orchard"])["orchard"]
        owners = [
            reading.farm_id
            for key, farm_key in zip(keys, (orchard, None), strict=True)
            for reading in unit.rain.list_readings(
                key, farm_key=farm_key, first_day=DAY, last_day=DAY
            )
        ]
    assert (of_farms.site_keys.tolist(), of_farms.rain_mm.tolist()) == (keys[:1], [4.5])
    assert of_places.site_keys.tolist() == keys[1:]
    assert owners == ["orchard", None]

    migrate.downgrade(engine, revision="202611300710")
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT site_key, rain_mm FROM weather_day")
        assert sorted(map(tuple, rows)) == sorted((key, 4.5) for key in keys)


def test_foreign_keys_are_enforced_after_a_migration(engine: Engine) -> None:
    migrate.upgrade(engine)
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1


def test_a_database_without_schema_is_told_to_migrate(empty_url: URL) -> None:
    engine = make_engine(empty_url)
    with pytest.raises(StorageFailed, match=r"has no schema yet.*run `rillwright migrate`"):
        check_schema(engine)
    with (
        pytest.raises(StorageFailed, match="run `rillwright migrate`"),
        unit_of_work_factory(engine)(write=False) as unit,
    ):
        unit.blocks.list_farms()
    engine.dispose()


def test_a_database_of_another_version_is_told_to_migrate(engine: Engine) -> None:
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'later'")
    with pytest.raises(StorageFailed, match=r"is at revision later.*run `rillwright migrate`"):
        check_schema(engine)
    with pytest.raises(StorageFailed, match="later"):
        migrate.upgrade(engine)


def test_scripts_are_found_beside_the_package_in_a_checkout() -> None:
    found = migrate.find_scripts()
    assert (found / "versions").is_dir()
    assert found.parent == Path(migrate.__file__).parents[2]


def test_scripts_are_found_inside_the_package_of_a_wheel(
    tmp_path: Path, empty_url: URL, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "site-packages, 100% made up" / "service"
    shutil.copytree(migrate.find_scripts(), package / "migrations")
    assert migrate.find_scripts(package) == package / "migrations"

    monkeypatch.chdir(tmp_path)  # no project file anywhere near
    monkeypatch.setattr("service.__file__", str(package / "__init__.py"))
    assert migrate.find_scripts() == package / "migrations"
    assert migrate.upgrade(empty_url) == migrate.head_revision()


def test_an_installation_without_scripts_says_so(tmp_path: Path) -> None:
    with pytest.raises(StorageFailed, match="the installation is incomplete"):
        migrate.find_scripts(tmp_path / "service")
