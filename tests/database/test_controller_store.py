"""Controllers, programs and marks of change in the database, on each kind of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, NotFound
from service.records.controllers import (
    ChannelDefinition,
    ControllerDefinition,
    FallbackRun,
    ProgramRow,
)
from tests.stored_farms import stored_block, stored_bundle, stored_farm, stored_supply

DAY = date(2026, 7, 1)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)
SHED = ControllerDefinition(
    controller_id="orchard.shed",
    farm_id="orchard",
    name="Shed",
    channels=(
        ChannelDefinition(channel=1, block_id="orchard.north", fallback=(FallbackRun(330, 40),)),
        ChannelDefinition(channel=3, block_id="orchard.south"),
    ),
)
BARN = ControllerDefinition(
    controller_id="orchard.barn", farm_id="orchard", name="Barn", policy="stop"
)


@pytest.fixture
def stored(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    with open_unit(write=True) as unit:
        unit.blocks.save_bundle(
            stored_bundle(stored_block("orchard.north"), stored_block("orchard.south")),
            effective_day=DAY,
            recorded_at=NOW,
        )
    return open_unit


def save(unit: UnitOfWork, *controllers: ControllerDefinition) -> tuple[int, int, int, int]:
    found = unit.controllers.save_controllers("orchard", controllers, recorded_at=NOW)
    unit.marks.bump("programs")
    return (
        found.created_count,
        found.changed_count,
        found.unchanged_count,
        found.retired_count,
    )


def row(key: int, **changes: object) -> ProgramRow:
    first = ProgramRow(
        controller_key=key, version=1, issued_at=NOW, digest="d", json_text="{}", csv_text="c\n"
    )
    return replace(first, **changes)  # type: ignore[arg-type]  # fields by name, for one test


def test_controllers_come_back_as_they_were_saved(stored: UnitOfWorkFactory) -> None:
    with stored(write=True) as unit:
        assert save(unit, SHED, BARN) == (2, 0, 0, 0)
        assert save(unit, SHED, BARN) == (0, 0, 2, 0)
    with stored(write=False) as unit:
        found = unit.controllers.list_controllers("orchard")
        assert [each.definition for each in found] == [BARN, SHED]
        assert unit.controllers.get_controller("orchard.shed").definition == SHED
        assert unit.blocks.get_bundle("orchard", day=DAY).controllers == (SHED,)
        keys = np.array([each.controller_key for each in found], dtype=np.int64)
        definitions = dict(unit.controllers.read_definitions(keys))
    assert definitions == {each.controller_key: each.definition for each in found}


def test_a_controller_that_is_left_out_is_retired_and_may_return(
    stored: UnitOfWorkFactory,
) -> None:
    with stored(write=True) as unit:
        save(unit, SHED, BARN)
        key = unit.controllers.get_controller("orchard.shed").controller_key
        assert save(unit, BARN) == (0, 0, 1, 1)
        assert save(unit, BARN) == (0, 0, 1, 0)
        assert [each.definition for each in unit.controllers.list_controllers()] == [BARN]
        assert unit.controllers.get_controller("orchard.shed").retired_at == NOW
        farm_keys = np.array(list(unit.blocks.farm_keys().values()))
        assert key not in unit.controllers.list_keys_in_use(farm_keys)
        assert save(unit, BARN, replace(SHED, name="Again")) == (0, 1, 1, 0)
        again = unit.controllers.get_controller("orchard.shed")
    assert (again.controller_key, again.retired_at) == (key, None)


def test_what_cannot_be_paired_is_refused(stored: UnitOfWorkFactory) -> None:
    wrong = replace(SHED, channels=(ChannelDefinition(channel=1, block_id="orchard.none"),))
    with stored(write=True) as unit, pytest.raises(NotFound, match=r"no block orchard\.none"):
        save(unit, wrong)
    with stored(write=True) as unit:
        save(unit, SHED)
        unit.blocks.save_bundle(
            stored_bundle(
                stored_block("meadow.one"),
                farm=stored_farm("meadow"),
                supplies=(stored_supply(farm_id="meadow"),),
            ),
            effective_day=DAY,
            recorded_at=NOW,
        )
        with pytest.raises(Conflict, match="another farm"):
            unit.controllers.save_controllers("meadow", [SHED], recorded_at=NOW)
        with pytest.raises(NotFound, match="no such farm"):
            unit.controllers.save_controllers("nowhere", [], recorded_at=NOW)
    with stored(write=False) as unit, pytest.raises(NotFound, match="no such controller"):
        unit.controllers.get_controller("orchard.none")


def test_programs_are_replaced_and_found_by_id(stored: UnitOfWorkFactory) -> None:
    with stored(write=True) as unit:
        save(unit, SHED, BARN)
        key = unit.controllers.get_controller("orchard.shed").controller_key
        unit.controllers.save_programs([row(key)], mark=2)
        unit.controllers.save_programs([row(key, version=2, json_text="{2}")], mark=3)
    with stored(write=False) as unit:
        found = unit.controllers.find_programs(["orchard.shed", "orchard.barn", "orchard.none"])
        programs = unit.controllers.read_programs(np.array([key]))
    assert {each.controller_id: each.program for each in found} == {
        "orchard.shed": row(key, version=2, json_text="{2}"),
        "orchard.barn": None,
    }
    assert programs == [row(key, version=2, json_text="{2}")]
    assert {each.farm_id for each in found} == {"orchard"}


def test_only_what_changed_after_a_mark_is_listed(stored: UnitOfWorkFactory) -> None:
    with stored(write=True) as unit:
        save(unit, SHED, BARN)
        seen = unit.marks.read_all()["programs"]
        assert sorted(unit.controllers.list_changed(after_mark=0)) == [
            "orchard.barn",
            "orchard.shed",
        ]
        assert unit.controllers.list_changed(after_mark=seen) == []
        key = unit.controllers.get_controller("orchard.shed").controller_key
        unit.marks.bump("programs")
        unit.controllers.save_programs([row(key)], mark=unit.marks.read_all()["programs"])
        assert unit.controllers.list_changed(after_mark=seen) == ["orchard.shed"]
        seen += 1
        save(unit, SHED)
        assert unit.controllers.list_changed(after_mark=seen) == ["orchard.barn"]


def test_marks_rise_by_topic(stored: UnitOfWorkFactory) -> None:
    with stored(write=True) as unit:
        for topic in ("plans", "keys", "plans"):
            unit.marks.bump(topic)
        assert unit.marks.read_all() == {"plans": 2, "keys": 1}


def test_a_mark_of_a_transaction_that_failed_does_not_rise(stored: UnitOfWorkFactory) -> None:
    with pytest.raises(ZeroDivisionError), stored(write=True) as unit:
        unit.marks.bump("plans")
        raise ZeroDivisionError
    with stored(write=False) as unit:
        assert unit.marks.read_all() == {}


def test_thousands_of_programs_are_saved_at_once(stored: UnitOfWorkFactory) -> None:
    many = [replace(BARN, controller_id=f"orchard.c{number:04d}") for number in range(1_200)]
    with stored(write=True) as unit:
        save(unit, *many)
        keys = unit.controllers.list_keys_in_use(np.array(list(unit.blocks.farm_keys().values())))
        rows = [row(key) for key in keys.tolist()]
        unit.controllers.save_programs(rows, mark=2)
        unit.controllers.save_programs([replace(each, version=2) for each in rows], mark=3)
        assert unit.controllers.read_programs(keys) == [replace(each, version=2) for each in rows]
