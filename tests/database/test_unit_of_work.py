"""What every UnitOfWork does, whatever is behind it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import Engine
from sqlalchemy.engine import URL

from service.agronomy.records import Ints
from service.database.engine import make_engine
from service.database.session import UnitOfWork, UnitOfWorkFactory, unit_of_work_factory
from service.errors import StorageBusy
from service.records.feeds import FeedScope
from tests.database.stored_plans import make_plans, weather_document
from tests.stored_farms import ints, stored_bundle

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


@pytest.fixture
def open_at_once(database_url: URL) -> Iterator[UnitOfWorkFactory]:
    """Opens units that wait for no other."""
    impatient = make_engine(database_url, busy_timeout_ms=20)
    yield unit_of_work_factory(impatient)
    impatient.dispose()


@pytest.mark.parametrize(
    ("held", "wanted", "may_both"),
    [
        ([1, 3], [2, 4], True),
        ([1, 3], [4, 3], False),
        ([1], None, False),
        (None, [1], False),
        (None, None, False),
        (None, [], True),
        ([2**31 + 5], [6], True),
    ],
)
def test_on_a_server_units_wait_only_for_those_that_hold_the_same_farms_or_everything(
    open_unit: UnitOfWorkFactory,
    open_at_once: UnitOfWorkFactory,
    held: list[int] | None,
    wanted: list[int] | None,
    may_both: bool,
    engine: Engine,
) -> None:
    is_let_in = may_both and engine.dialect.name == "postgresql"  # a file has one writer
    waits = nullcontext() if is_let_in else pytest.raises(StorageBusy, match="held the database")
    with open_unit(write=True, farm_keys=held), waits, open_at_once(write=True, farm_keys=wanted):
        pass
    with open_at_once(write=True):  # all is given back at the end
        pass


def test_who_publishes_second_waits_so_that_keys_of_plans_rise_with_commits(
    open_unit: UnitOfWorkFactory, open_at_once: UnitOfWorkFactory, keys: Ints, basis_key: int
) -> None:
    # Else a copy elsewhere that has read the second one's keys would never ask for the first's.
    north, south = keys[:1], keys[1:]
    with open_unit(write=True, farm_keys=[1]) as first:
        first.plans.publish(make_plans(north, basis_key), issued_at=NOW)
        with pytest.raises(StorageBusy), open_at_once(write=True, farm_keys=[2]) as second:
            second.plans.publish(make_plans(south, basis_key), issued_at=NOW)
    with open_unit(write=False) as unit:
        seen = unit.plans.latest_key()
    with open_at_once(write=True, farm_keys=[2]) as second:
        second.plans.publish(make_plans(south, basis_key), issued_at=NOW)
    with open_unit(write=False) as unit:
        (entry,) = unit.feeds.list_plans(FeedScope(), after=seen, count=10)
    assert entry.block_id == "orchard.south"


def test_a_mark_that_is_seen_stands_for_all_that_was_changed_under_it(
    open_unit: UnitOfWorkFactory, open_at_once: UnitOfWorkFactory
) -> None:
    with open_unit(write=True, farm_keys=[1]) as first:
        assert first.marks.bump("runs") == 1
        with pytest.raises(StorageBusy), open_at_once(write=True, farm_keys=[2]) as second:
            second.marks.bump("runs")
        with open_unit(write=False) as reader:
            assert reader.marks.read_all().get("runs", 0) == 0
    with open_at_once(write=True, farm_keys=[2]) as second:
        assert second.marks.bump("runs") == 2


def test_weather_that_two_store_at_once_is_stored_once(
    open_unit: UnitOfWorkFactory, open_at_once: UnitOfWorkFactory, keys: Ints
) -> None:
    def store(unit: UnitOfWork) -> list[int]:
        site = ints(unit.blocks.get_site_key("hollow"))
        document = weather_document(et0_mm=6.0)
        return list(unit.plans.save_basis(site, [document], day=DAY, issued_at=NOW))

    with open_unit(write=True, farm_keys=()) as first:
        stored = store(first)
        with pytest.raises(StorageBusy), open_at_once(write=True, farm_keys=()) as second:
            store(second)
    with open_at_once(write=True, farm_keys=()) as second:
        assert store(second) == stored
