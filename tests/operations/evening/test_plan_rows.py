"""Plans as rows: one per block, compared by content and not by time."""

from __future__ import annotations

from dataclasses import fields

import numpy as np

from service.agronomy.reasoning import PlanFlag
from service.bootstrap import Service
from service.operations.evening.plan_rows import pick_rows
from service.records.plans import PlanRows, PublishedPlan
from tests.api.invented_farm import (
    BLOCK_ID,
    PLAN_DAY,
    YOUNG_BLOCK_ID,
    bring_weather,
    plan_evening,
)


def plan_of(service: Service, block_id: str = BLOCK_ID) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan


def three_rows() -> PlanRows:
    return PlanRows(
        block_keys=np.array([1, 2, 3]),
        day=PLAN_DAY,
        status=("water", "rest", "no-weather"),
        planned_min=np.array([60, 0, 0]),
        early_min=np.array([10, 0, 0]),
        ready_min=np.array([700.0, 0.0, 0.0]),
        gross_mm=np.array([4.0, 0.0, 0.0]),
        net_mm=np.array([3.6, 0.0, 0.0]),
        pulses=(b"[[300,60]]", b"[]", b"[]"),
        numbers=(b"{}", b"{}", b"{}"),
        basis_keys=np.array([7, 7, 8]),
        digest=("a", "b", "c"),
    )


def test_rows_are_picked_whole_and_in_the_order_asked_for() -> None:
    rows = three_rows()
    picked = pick_rows(rows, np.array([2, 0]))
    for part in fields(rows):
        before, after = getattr(rows, part.name), getattr(picked, part.name)
        if part.name == "day":
            assert after == before
        else:
            assert list(after) == [before[2], before[0]]
    assert pick_rows(rows, np.array([], dtype=np.int64)).status == ()


def test_minutes_are_those_of_the_pulses(own_service: Service) -> None:
    plan = plan_of(own_service)
    assert plan.status == "water"
    assert plan.planned_min == sum(length for _, length in plan.pulses) > 0
    assert 0.0 < plan.net_mm < plan.gross_mm


def test_weather_that_is_issued_again_with_the_same_numbers_makes_no_version(
    own_service: Service,
) -> None:
    assert plan_evening(own_service) == []
    bring_weather(own_service)
    assert plan_evening(own_service) == []
    assert plan_of(own_service).version == 1
    bring_weather(own_service, warmer_c=2.0)
    assert plan_evening(own_service) == []
    assert plan_of(own_service).version == 2


def test_a_block_without_weather_has_a_row_without_water_that_says_so(
    own_service: Service,
) -> None:
    assert plan_evening(own_service) == []
    plan = plan_of(own_service, YOUNG_BLOCK_ID)
    assert (plan.status, plan.planned_min, plan.pulses) == ("no-weather", 0, ())
    assert PlanFlag.WEATHER_UNKNOWN in PlanFlag(plan.reasoning.flags)
    assert PlanFlag.WEATHER_UNKNOWN not in PlanFlag(plan_of(own_service).reasoning.flags)
