"""An evening: ledgers up to today, plans for tomorrow, one farm's fault kept to that farm."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from service.agronomy.records import Ints
from service.bootstrap import Service
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound, StorageBusy
from service.operations.evening.run_day import BUSY_TRIES, DayRun, run_day
from service.operations.evening.turn import ChangeThreshold
from service.records.plans import PublishedPlan
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    YOUNG_BLOCK_ID,
    FixedClock,
    bring_weather,
)

ONE_DAY = timedelta(days=1)


def evening(service: Service, **options: Any) -> DayRun:
    return run_day(
        options.pop("on", TODAY),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        **options,
    )


def plan_of(service: Service, block_id: str = BLOCK_ID) -> PublishedPlan | None:
    with service.unit_of_work(write=False) as unit:
        return unit.plans.find_plan(block_id, day=PLAN_DAY)


def version_of(service: Service) -> int:
    plan = plan_of(service)
    assert plan is not None
    return plan.version


def test_the_same_evening_again_makes_no_new_version(own_service: Service) -> None:
    evening(own_service)
    before = plan_of(own_service)
    run = evening(own_service)
    assert (run.block_count, run.new_version_count, run.failures) == (3, 0, [])
    assert plan_of(own_service) == before


def test_a_site_without_weather_is_counted_and_the_other_farm_planned(
    own_service: Service,
) -> None:
    run = evening(own_service)
    assert run.without_weather_count == 1
    young = plan_of(own_service, YOUNG_BLOCK_ID)
    assert young is None or young.status == "no-weather"
    assert plan_of(own_service) is not None


def test_a_farm_that_fails_is_reported_and_its_neighbour_is_planned(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=5.0)
    bring_weather(own_service, site_id="hill")
    with own_service.unit_of_work(write=False) as unit:
        broken = unit.blocks.farm_keys([FARM_ID])[FARM_ID]

    def fail(_unit: UnitOfWork, farm_keys: Ints, **_more: object) -> None:
        if broken in farm_keys.tolist():
            raise RuntimeError("no room left")

    run = evening(own_service, after_publish=fail)
    (failure,) = run.failures
    assert (failure.farm_id, failure.reason) == (FARM_ID, "RuntimeError: no room left")
    assert version_of(own_service) == 1  # whatever the farm's own transaction did is undone
    young = plan_of(own_service, YOUNG_BLOCK_ID)
    assert young is not None and young.status != "no-weather"


def test_named_farms_are_run_and_the_others_left(own_service: Service) -> None:
    assert evening(own_service, farm_ids=["later-farm"]).block_count == 1
    with pytest.raises(NotFound, match="nowhere"):
        evening(own_service, farm_ids=["nowhere"])


def test_an_evening_without_any_farm_says_what_to_do(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(NotFound, match="load a farm file first"):
        run_day(TODAY, unit_of_work=open_unit, clock=FixedClock(RUN_AT), source_order={})


def test_without_plans_only_the_ledgers_move(own_service: Service) -> None:
    bring_weather(own_service, today=PLAN_DAY)
    run = evening(own_service, on=PLAN_DAY, makes_plans=False)
    assert run.new_version_count == 0
    with own_service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        rows = unit.ledger.read_rows(key, first_day=PLAN_DAY, last_day=PLAN_DAY)
        assert rows.days.size == 1
        assert unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY + ONE_DAY) is None


def test_a_small_change_leaves_a_plan_in_force_where_a_threshold_is_given(
    own_service: Service,
) -> None:
    bring_weather(own_service, warmer_c=0.3)
    evening(own_service, supersedes_from=ChangeThreshold(minutes=1e6, fraction=1e6))
    assert version_of(own_service) == 1
    bring_weather(own_service, warmer_c=8.0)
    evening(own_service)
    assert version_of(own_service) == 2


class Opener:
    """Opens units, and does something before the first that writes for farms."""

    def __init__(self, opened: UnitOfWorkFactory, act: Callable[[int], object]) -> None:
        self._opened = opened
        self._act = act
        self.count = 0

    def __call__(self, *, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        if farm_keys:
            self.count += 1
            self._act(self.count)
        return self._opened(write=write, farm_keys=farm_keys)


def test_weather_that_arrives_after_the_run_has_read_its_own_is_in_the_ledger(
    own_service: Service,
) -> None:
    evening(own_service)
    yesterday = TODAY - ONE_DAY

    def rain_of() -> float:
        with own_service.unit_of_work(write=False) as unit:
            key = unit.blocks.get_block_key(BLOCK_ID)
            rows = unit.ledger.read_rows(key, first_day=yesterday, last_day=yesterday)
        return float(rows.numbers["depletion_end_mm"][0])

    def warm_up(count: int) -> None:
        if count == 1:
            bring_weather(own_service, warmer_c=8.0)

    before = rain_of()
    evening(replace(own_service, unit_of_work=Opener(own_service.unit_of_work, warm_up)))
    as_read_late = rain_of()
    assert as_read_late > before
    evening(own_service)
    assert rain_of() == as_read_late


def test_farms_are_tried_again_together_while_others_hold_the_database(
    own_service: Service,
) -> None:
    def busy(count: int) -> None:
        if count < BUSY_TRIES:
            raise StorageBusy("another writer held the database for too long")

    opener = Opener(own_service.unit_of_work, busy)
    run = evening(replace(own_service, unit_of_work=opener))
    assert (run.block_count, run.failures) == (3, [])
    assert opener.count - BUSY_TRIES <= 1  # all at once, and perhaps their texts


def test_farms_that_cannot_be_written_at_all_are_not_tried_one_by_one(
    own_service: Service,
) -> None:
    def always_busy(_count: int) -> None:
        raise StorageBusy("another writer held the database for too long")

    opener = Opener(own_service.unit_of_work, always_busy)
    run = evening(replace(own_service, unit_of_work=opener))
    assert len(run.failures) == 2 and "too long" in run.failures[0].reason
    assert opener.count == BUSY_TRIES
