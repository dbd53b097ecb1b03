"""Plans of blocks whose growers weigh the risk of the forecast, and of those that do not."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import pytest

from service.agronomy.reasoning import explain_plan
from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.risk_guard import RiskGuard
from service.bootstrap import Service
from service.operations.farms.manage_farms import load_bundle
from service.operations.feedback.estimate_soil import estimate_soil
from service.records.plans import PublishedPlan
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    plan_evening,
)
from tests.operations.evening.test_gather_members import bring_rain
from tests.operations.evening.test_lay_out_pulses import change_north

WEIGHED = {"risk_attitude", "risk_guard", "must_mm", "fill_mm", "credit_fraction"}


def plan_of(service: Service, block_id: str = BLOCK_ID) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan


@pytest.fixture
def moist_service(own_service: Service) -> Service:
    """The north block was found wet on three days, so that it was not short."""
    for days_ago, share in ((2, 1.0), (1, 1.0), (0, 0.6)):
        with own_service.unit_of_work(write=True) as unit:
            estimate_soil(
                unit,
                BLOCK_ID,
                share,
                read_at=datetime.combine(TODAY - timedelta(days=days_ago), time(18, 30)),
                reporter="the grower",
                replanning=own_service.replanning,
            )
    return own_service


def weigh(service: Service, attitude: RiskAttitude, **changes: Any) -> PublishedPlan:
    """The plan of the north block under an attitude; it holds enough not to be guarded."""
    change_north(service, risk_attitude=attitude, root_depth_m=1.2, **changes)
    return plan_of(service)


def test_without_a_choice_plans_are_the_same_to_the_last_bit(own_service: Service) -> None:
    classic = weigh(own_service, RiskAttitude.CLASSIC)
    south = plan_of(own_service, BARE_BLOCK_ID)
    weighed = weigh(own_service, RiskAttitude.BALANCED)
    assert weighed.reasoning.risk_attitude == RiskAttitude.BALANCED
    # Another block of the farm that follows the evening rule is not touched either.
    numbers = plan_of(own_service, BARE_BLOCK_ID).reasoning
    assert numbers._replace(rest_share=0.0, urgent_share=0.0)[:20] == south.reasoning[:20]
    assert numbers.must_mm is None
    again = weigh(own_service, RiskAttitude.CLASSIC)
    assert (again.pulses, again.reasoning) == (classic.pulses, classic.reasoning)
    assert all(again.reasoning.quantities[name] is None for name in WEIGHED)


def test_the_decision_is_explained_by_what_must_be_given_and_what_fits(
    moist_service: Service,
) -> None:
    bring_rain(moist_service, 0.6, 8.0, source="station")
    numbers = weigh(moist_service, RiskAttitude.BALANCED).reasoning
    assert numbers.risk_guard == RiskGuard.NONE
    assert numbers.member_count == 31
    assert numbers.must_mm is not None and numbers.fill_mm is not None
    assert numbers.need_mm is not None and numbers.credit_fraction is not None
    assert 0.02 <= numbers.credit_fraction <= 0.5
    if numbers.must_mm > 0.0:
        asked = numbers.must_mm + 0.5 * max(0.0, numbers.fill_mm - numbers.must_mm)
        assert numbers.need_mm >= asked - 1e-3
    else:
        assert numbers.need_mm == 0.0
    # Rain that is likely but not certain is counted on by less than the evening rule does.
    assert numbers.rain_credit_mm is not None and numbers.rain_entering_mm is not None
    assert numbers.rain_credit_mm < 0.6 * numbers.rain_entering_mm


def test_who_is_careful_with_the_crop_gets_at_least_the_water_of_who_saves_it(
    own_service: Service,
) -> None:
    bring_rain(own_service, 0.5, 6.0, source="station")
    musts = [
        weigh(own_service, attitude).reasoning.must_mm
        for attitude in (RiskAttitude.CAREFUL_CROP, RiskAttitude.CAREFUL_WATER)
    ]
    assert musts[0] is not None and musts[1] is not None
    assert musts[0] >= musts[1]


@pytest.mark.parametrize(
    ("changes", "guard"),
    [
        ({"daily_maximum_min": 40.0}, RiskGuard.KEEP_UP),
        ({"leaching_fraction": 0.2}, RiskGuard.AGRONOMY),
    ],
)
def test_a_guard_keeps_the_evening_rule(
    changes: dict[str, float], guard: RiskGuard, moist_service: Service
) -> None:
    change_north(moist_service, **{"root_depth_m": 1.2, **changes})
    rule = plan_of(moist_service)
    change_north(moist_service, risk_attitude=RiskAttitude.BALANCED)
    plan = plan_of(moist_service)
    assert plan.reasoning.risk_guard == guard
    assert plan.reasoning.must_mm is not None  # what it would have been is said all the same
    if guard != RiskGuard.KEEP_UP:  # which counts on less rain
        assert plan.pulses == rule.pulses
        assert plan.reasoning.need_mm == rule.reasoning.need_mm
    assert plan.reasoning.trigger_mm == rule.reasoning.trigger_mm
    texts = " ".join(step.template for step in explain_plan(plan.reasoning.quantities, {}))
    assert "the evening rule, since" in texts


def test_a_block_keeps_its_attitude_when_the_farm_is_loaded_again(own_service: Service) -> None:
    weigh(own_service, RiskAttitude.CAREFUL_WATER)
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    assert bundle.blocks[0].risk_attitude == RiskAttitude.CAREFUL_WATER
    load_bundle(
        replace(bundle), effective_day=TODAY, unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )  # fmt: skip
    assert plan_evening(own_service) == []
    assert plan_of(own_service).reasoning.risk_attitude == RiskAttitude.CAREFUL_WATER
