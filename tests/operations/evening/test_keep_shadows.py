"""The rule that weighs the forecast, on paper, for blocks whose growers made no choice."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest

from service.agronomy.risk_attitude import RiskAttitude
from service.agronomy.risk_guard import RiskGuard
from service.bootstrap import Service
from service.operations.evening.run_day import run_day
from service.operations.feedback.estimate_soil import estimate_soil
from service.records.shadow import SHADOW_NUMBERS, ShadowRows
from tests.api.invented_farm import (
    BLOCK_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    plan_evening,
    with_timer,
)
from tests.operations.evening.test_lay_out_pulses import change_north

RULE_NET, WEIGHED_NET = "rule_net_mm", "weighed_net_mm"
ROOTS_M = 1.2
"""Deep enough not to be guarded as a small store."""


def shadow_of(service: Service, block_id: str = BLOCK_ID) -> ShadowRows:
    with service.unit_of_work(write=False) as unit:
        return unit.shadows.read_block(
            unit.blocks.get_block_key(block_id),
            first_day=TODAY - timedelta(days=30),
            last_day=TODAY + timedelta(days=30),
        )


def moisten(service: Service, share: float = 0.8, *, days_ago: int = 0) -> None:
    """The soil of the north block is read, so that a day's water is enough for its need."""
    with service.unit_of_work(write=True) as unit:
        estimate_soil(
            unit, BLOCK_ID, share, reporter="the grower",
            read_at=datetime.combine(TODAY - timedelta(days=days_ago), time(18, 30 - days_ago)),
            replanning=service.replanning,
        )  # fmt: skip


@pytest.fixture
def moist_service(own_service: Service) -> Service:
    """The north block has deep roots and was found wet on three evenings."""
    change_north(own_service, root_depth_m=ROOTS_M)
    for days_ago in (2, 1, 0):
        moisten(own_service, days_ago=days_ago)
    return own_service


def on_evening(service: Service, days: int) -> date:
    """The evenings up to so many days later, each with weather observed up to it."""
    for ahead in range(1, days + 1):
        evening = TODAY + timedelta(days=ahead)
        assert isinstance(service.clock, FixedClock)
        service.clock.instant = RUN_AT + timedelta(days=ahead)
        bring_weather(service, today=evening)
        assert plan_evening(service, on=evening) == []
    return TODAY + timedelta(days=days)


def test_each_evening_keeps_what_both_rules_would_give_tomorrow(moist_service: Service) -> None:
    rows = shadow_of(moist_service)
    assert rows.days.tolist() == [PLAN_DAY]
    with moist_service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None and plan.reasoning.need_mm is not None
    # From the same depletion the rule on paper asks for what the plan's need is.
    assert rows.numbers[RULE_NET][0] == pytest.approx(plan.reasoning.need_mm, abs=0.01)
    assert np.isfinite(rows.numbers[WEIGHED_NET][0])
    assert np.isnan(rows.numbers["weighed_depletion_end_mm"][0])  # the day is not over


def test_a_block_that_weighs_the_risk_gets_the_need_that_it_had_on_paper(
    moist_service: Service,
) -> None:
    on_paper = shadow_of(moist_service)
    change_north(moist_service, risk_attitude=RiskAttitude.BALANCED)
    with moist_service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    assert plan.reasoning.risk_guard == on_paper.guards[0]
    assert on_paper.numbers[WEIGHED_NET][0] == pytest.approx(plan.reasoning.need_mm, abs=0.01)


@pytest.mark.parametrize("attitude", [RiskAttitude.CLASSIC, RiskAttitude.BALANCED])
def test_a_block_that_made_a_choice_keeps_none(
    attitude: RiskAttitude, own_service: Service
) -> None:
    change_north(
        own_service,
        risk_attitude=attitude,
        origins={"risk_attitude": "given"},
        root_depth_m=ROOTS_M,
    )
    on_evening(own_service, 1)
    later = shadow_of(own_service)
    assert TODAY + timedelta(days=2) not in later.days.tolist()


def test_both_courses_are_carried_from_day_to_day(own_service: Service) -> None:
    change_north(own_service, root_depth_m=ROOTS_M)
    last = on_evening(own_service, 3)
    rows = shadow_of(own_service)
    assert rows.days.tolist() == [TODAY + timedelta(days=ahead) for ahead in (1, 2, 3, 4)]
    with own_service.unit_of_work(write=False) as unit:
        booked = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID), first_day=PLAN_DAY, last_day=last
        ).numbers
    for course in ("rule", "weighed"):
        net, drained, lost, end = (
            rows.numbers[f"{course}_{name}"][:-1]
            for name in ("net_mm", "drainage_mm", "lost_et_mm", "depletion_end_mm")
        )
        start = np.append(booked["depletion_start_mm"][0], end[:-1])
        used = booked["crop_et_mm"] - lost
        # FAO-56 Eq. 85, on a course's own soil; kept to a hundredth of a millimeter.
        assert end == pytest.approx(
            start + used + drained - net - booked["rain_entering_mm"], abs=0.04
        )
    assert (rows.guards != RiskGuard.NO_SPREAD).all()


def test_better_weather_moves_what_came_but_not_what_was_decided(own_service: Service) -> None:
    change_north(own_service, root_depth_m=ROOTS_M)
    last = on_evening(own_service, 3)
    before = shadow_of(own_service)
    bring_weather(own_service, warmer_c=4.0, today=last)
    assert plan_evening(own_service, on=last) == []
    after = shadow_of(own_service)
    assert after.days.tolist() == before.days.tolist()
    over = slice(0, -1)  # tomorrow's is decided anew, as its evening is not over
    for name in (RULE_NET, WEIGHED_NET):
        assert after.numbers[name][over].tolist() == before.numbers[name][over].tolist()
    ends = "weighed_depletion_end_mm"
    assert (after.numbers[ends][over] > before.numbers[ends][over]).all()


def test_the_same_evening_again_changes_nothing(own_service: Service) -> None:
    last = on_evening(own_service, 2)
    before = shadow_of(own_service)
    assert plan_evening(own_service, on=last) == []
    after = shadow_of(own_service)
    for name in SHADOW_NUMBERS:
        # To the hundredth of a millimeter to which they are kept.
        assert after.numbers[name] == pytest.approx(before.numbers[name], abs=0.02, nan_ok=True)


def test_a_plan_made_while_its_day_is_under_way_leaves_the_decision(
    moist_service: Service,
) -> None:
    before = shadow_of(moist_service)
    moisten(moist_service, 0.3, days_ago=0)
    reread = shadow_of(moist_service)
    assert reread.numbers[RULE_NET][0] > before.numbers[RULE_NET][0]  # the day has not begun
    late = RUN_AT + timedelta(hours=9)
    moist_service.clock.instant = late  # type: ignore[attr-defined]  # a clock of the tests
    bring_weather(moist_service, warmer_c=5.0)
    run = run_day(
        TODAY,
        unit_of_work=moist_service.unit_of_work,
        clock=moist_service.clock,
        source_order=moist_service.source_order,
        earliest_start=late,
    )
    assert not run.failures
    assert shadow_of(moist_service).numbers[RULE_NET][0] == reread.numbers[RULE_NET][0]


def test_after_an_evening_that_was_missed_courses_begin_with_the_soil_as_booked(
    moist_service: Service,
) -> None:
    assert isinstance(moist_service.clock, FixedClock)
    moist_service.clock.instant = RUN_AT + timedelta(days=2)
    last = TODAY + timedelta(days=2)
    bring_weather(moist_service, today=last)
    assert plan_evening(moist_service, on=last) == []
    rows = shadow_of(moist_service)
    assert rows.days.tolist() == [PLAN_DAY, last + timedelta(days=1)]
    with moist_service.unit_of_work(write=True) as unit:
        unit.shadows.prune(before=last + timedelta(days=30))
    assert plan_evening(moist_service, on=last) == []
    (fresh,) = shadow_of(moist_service).numbers[RULE_NET]
    assert rows.numbers[RULE_NET][-1] == fresh


def test_a_timer_that_runs_whatever_is_planned_keeps_none(own_service: Service) -> None:
    with_timer(own_service)
    on_evening(own_service, 1)
    assert TODAY + timedelta(days=2) not in shadow_of(own_service).days.tolist()
