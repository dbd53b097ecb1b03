"""What every UnitOfWork does, whatever is behind it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.database.session import UnitOfWork, UnitOfWorkFactory
from tests.stored_farms import stored_bundle

DAY = date(2026, 7, 1)
NOW = datetime(2026, 7, 1, 12, tzinfo=UTC)


def farm_ids(open_unit: UnitOfWorkFactory) -> list[str]:
    with open_unit(write=False) as unit:
        return [each.farm_id for each in unit.blocks.list_farms()]


def load(unit: UnitOfWork) -> None:
    unit.blocks.save_bundle(stored_bundle(), effective_day=DAY, recorded_at=NOW)


def test_a_clean_exit_commits(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        load(unit)
    assert farm_ids(open_unit) == ["orchard"]


def test_an_error_inside_undoes_everything_and_goes_on_its_way(
    open_unit: UnitOfWorkFactory,
) -> None:
    with pytest.raises(KeyError, match="something else"), open_unit(write=True) as unit:
        load(unit)
        raise KeyError("something else")
    assert farm_ids(open_unit) == []


def test_an_interruption_undoes_everything(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(KeyboardInterrupt), open_unit(write=True) as unit:
        load(unit)
        raise KeyboardInterrupt
    assert farm_ids(open_unit) == []


def test_what_is_not_committed_is_seen_by_nobody_else(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=True) as unit:
        load(unit)
        assert farm_ids(open_unit) == []
    assert farm_ids(open_unit) == ["orchard"]


def test_a_reading_unit_sees_one_state_throughout(open_unit: UnitOfWorkFactory) -> None:
    with open_unit(write=False) as reader:
        assert reader.blocks.list_farms() == []
        with open_unit(write=True) as writer:
            load(writer)
        assert reader.blocks.list_farms() == []
    assert farm_ids(open_unit) == ["orchard"]


def test_a_unit_can_be_opened_again_but_not_twice_at_once(open_unit: UnitOfWorkFactory) -> None:
    unit = open_unit(write=True)
    with unit:
        load(unit)
        with pytest.raises(RuntimeError, match="already open"):
            unit.__enter__()
    with unit:
        assert len(unit.blocks.list_farms()) == 1
