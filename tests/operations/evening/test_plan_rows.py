"""Plans as rows: one per block, compared by content and not by time."""

from __future__ import annotations

from dataclasses import fields
from datetime import date, timedelta

import numpy as np
import pytest

from service.agronomy.reasoning import PlanFlag
from service.bootstrap import Service
from service.operations.evening.plan_rows import pick_rows
from service.records.plans import PlanRows, PublishedPlan
from tests.alley_farm import ALLEY_BLOCK_ID, BARE_BLOCK_ID, alley_farm
from tests.api.invented_farm import (
    BLOCK_ID,
    FIRST_DAY,
    PLAN_DAY,
    YOUNG_BLOCK_ID,
    bring_weather,
    load,
    plan_evening,
    with_timer,
)


def plan_of(service: Service, block_id: str = BLOCK_ID, *, day: date = PLAN_DAY) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=day)
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


def test_a_plan_says_what_it_took_from_outside_the_strip(own_service: Service) -> None:
    load(own_service, alley_farm(0.5))
    rainy = FIRST_DAY + timedelta(days=45)  # 8 mm are forecast for it
    bring_weather(own_service, today=rainy - timedelta(days=1))
    assert plan_evening(own_service, on=rainy - timedelta(days=1)) == []
    found = plan_of(own_service, ALLEY_BLOCK_ID, day=rainy).reasoning
    assert found.alley_start_mm is not None and found.alley_rain_mm is not None
    assert found.alley_et_mm is not None and found.crop_et_mm is not None
    assert found.alley_rain_mm > 1.0
    assert found.alley_et_mm == pytest.approx(
        min(found.alley_start_mm + found.alley_rain_mm, found.crop_et_mm), abs=2e-6
    )
    assert found.planned_depletion_mm == pytest.approx(
        (found.depletion_start_mm or 0.0) + found.crop_et_mm - found.alley_et_mm, abs=3e-6
    )
    bare = plan_of(own_service, BARE_BLOCK_ID, day=rainy).reasoning
    assert bare.alley_et_mm is None and bare.alley_root_fraction is None


def test_a_neighbour_with_such_roots_changes_nothing_in_a_plan(own_service: Service) -> None:
    load(own_service, alley_farm(0.0))
    assert plan_evening(own_service) == []
    before = plan_of(own_service, BARE_BLOCK_ID)
    load(own_service, alley_farm(0.5, farm_id="other-farm"))
    bring_weather(own_service)
    assert plan_evening(own_service) == []
    after = plan_of(own_service, BARE_BLOCK_ID)
    assert (after.version, after.reasoning) == (before.version, before.reasoning)


def test_a_timer_that_does_not_keep_up_is_not_said_to_run_all_it_can(own_service: Service) -> None:
    # Nothing is set on it yet, so nothing runs.
    with_timer(own_service)
    flags = PlanFlag(plan_of(own_service).reasoning.flags)
    assert PlanFlag.TIMER_CANNOT_KEEP_UP in flags
    assert PlanFlag.CANNOT_KEEP_UP not in flags
    beside = PlanFlag(plan_of(own_service, "test-farm.south").reasoning.flags)
    assert PlanFlag.TIMER_CANNOT_KEEP_UP not in beside
