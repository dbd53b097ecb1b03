"""Plans, their reasons and the balance, as they are read; nothing is changed by reading."""

from __future__ import annotations

from datetime import date

import pytest

from service.bootstrap import Service
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound, PlanNotFound
from service.operations.reading.read_plans import (
    explain,
    get_block,
    get_plan,
    list_blocks,
    list_plans,
    plan_steps,
)
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    YOUNG_BLOCK_ID,
    bring_weather,
    plan_evening,
)


def test_the_latest_plan_is_read_where_no_day_is_named(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    latest = get_plan(BLOCK_ID, day=None, unit_of_work=unit_of_work)
    assert latest == get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=unit_of_work)
    assert (latest.plan.block_id, latest.plan.day, latest.block.block_id) == (
        BLOCK_ID, PLAN_DAY, BLOCK_ID,
    )  # fmt: skip
    assert latest.zone == "America/New_York"


def test_a_version_that_was_replaced_can_still_be_read(own_service: Service) -> None:
    bring_weather(own_service, warmer_c=-8.0)
    assert plan_evening(own_service) == []
    unit_of_work = own_service.unit_of_work
    first, second = (
        get_plan(BLOCK_ID, day=PLAN_DAY, version=version, unit_of_work=unit_of_work).plan
        for version in (1, 2)
    )
    assert first.superseded_at is not None and second.superseded_at is None
    assert get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=unit_of_work).plan == second
    with pytest.raises(PlanNotFound):
        get_plan(BLOCK_ID, day=PLAN_DAY, version=3, unit_of_work=unit_of_work)


def test_a_block_without_a_plan_differs_from_one_that_is_not_stored(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    with pytest.raises(PlanNotFound, match=r"no plan of block later-farm\.young for any day"):
        get_plan(YOUNG_BLOCK_ID, day=None, unit_of_work=unit_of_work)
    with pytest.raises(PlanNotFound, match=f"for {TODAY}"):
        get_plan(BLOCK_ID, day=TODAY, unit_of_work=unit_of_work)
    with pytest.raises(NotFound) as unknown:
        get_plan("test-farm.nowhere", day=None, unit_of_work=unit_of_work)
    assert not isinstance(unknown.value, PlanNotFound)


def test_plans_of_a_day_are_listed_for_all_farms_or_for_one(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    views = list_plans(day=None, unit_of_work=unit_of_work)
    assert [view.plan.block_id for view in views] == [BLOCK_ID, BARE_BLOCK_ID]
    assert list_plans(day=PLAN_DAY, farm_id=FARM_ID, unit_of_work=unit_of_work) == views
    assert list_plans(day=PLAN_DAY, farm_id="later-farm", unit_of_work=unit_of_work) == []


def test_where_nothing_was_ever_planned_the_command_is_named(open_unit: UnitOfWorkFactory) -> None:
    with pytest.raises(PlanNotFound, match="rillwright run-day"):
        list_plans(day=None, unit_of_work=open_unit)


def test_the_reasons_are_those_of_the_plan_that_is_read(own_service: Service) -> None:
    found = explain(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work)
    assert found.view == get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work)
    assert found.steps == plan_steps(found.view)
    assert len(found.steps) > 5


def test_blocks_are_read_as_of_a_day(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    blocks = list_blocks(farm_id=FARM_ID, day=TODAY, unit_of_work=unit_of_work)
    assert [block.block_id for block in blocks] == [BLOCK_ID, BARE_BLOCK_ID]
    assert get_block(BLOCK_ID, day=TODAY, unit_of_work=unit_of_work) == blocks[0]
    with pytest.raises(NotFound):
        get_block(BLOCK_ID, day=date(2020, 1, 1), unit_of_work=unit_of_work)
