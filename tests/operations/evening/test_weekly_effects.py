"""What weekly hours without water did to a plan, and how it is told."""

from __future__ import annotations

from dataclasses import replace

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.reasoning import explain_plan
from service.agronomy.records import WeeklyNoWater
from service.agronomy.weekly_hours import ClosedHours, WeeklyEffect
from service.bootstrap import Service
from service.delivery.weekly_words import effect_words, hours_words
from service.operations.farms.manage_farms import load_bundle
from service.records.plans import PublishedPlan
from service.translations import wording
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    plan_evening,
)

PEAK = WeeklyNoWater((1, 2, 3, 4, 5), 4 * 60, 8 * 60, "peak tariff")
"""On working days, from the time at which the block opens; the day planned is a Wednesday."""
NOT_OUR_TURN = WeeklyNoWater((1, 3, 4, 6, 7), 0, 24 * 60, "the district delivers Tue and Fri")


def give(service: Service, *weekly: WeeklyNoWater, farm_id: str = FARM_ID) -> None:
    """Load the farm with these hours of its supply, and run the evening again."""
    with service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(farm_id, day=TODAY + ONE_DAY)
    (supply,) = bundle.supplies
    load_bundle(
        replace(bundle, supplies=(replace(supply, weekly_no_water=weekly),)),
        effective_day=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    plan_evening(service)


def plan_of(service: Service, block_id: str = BLOCK_ID) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan


def test_pulses_move_out_of_the_peak_hours_and_the_plan_says_so(own_service: Service) -> None:
    before = plan_of(own_service)
    assert before.pulses[0][0] < 8 * 60  # or this would say nothing
    give(own_service, PEAK)
    plan = plan_of(own_service)
    assert plan.pulses and min(start for start, _ in plan.pulses) >= 8 * 60
    reasoning = plan.reasoning
    assert reasoning.weekly_hours == (ClosedHours(240, 480, "peak tariff"),)
    assert reasoning.weekly_closed_min == 240.0
    assert reasoning.weekly_effect in (WeeklyEffect.MOVED, WeeklyEffect.SHORTENED)
    (step,) = [
        each for each in explain_plan(reasoning.quantities, {}) if each.name == "weekly_closed_min"
    ]
    assert step.value == 240.0 and "the supply gives no water" in step.worked
    assert "from 4:00 AM to 8:00 AM (peak tariff)" in effect_words(
        plan, "America/New_York", wording("en", "us")
    )


def test_hours_that_leave_too_little_time_shorten_the_plan(own_service: Service) -> None:
    alone = WeeklyNoWater((3,), 4 * 60, 20 * 60 + 30, "pump house is closed")
    give(own_service, alone)
    plan = plan_of(own_service)
    assert plan.reasoning.weekly_effect == WeeklyEffect.SHORTENED
    assert plan.reasoning.cause == ShortfallCause.OUTAGE
    assert all(start >= 20 * 60 + 30 for start, _ in plan.pulses)


def test_hours_of_another_day_leave_the_plan_as_it_was(own_service: Service) -> None:
    before = plan_of(own_service)
    give(own_service, WeeklyNoWater((1,), 0, 24 * 60, "not delivered"))
    plan = plan_of(own_service)
    assert plan.pulses == before.pulses
    assert plan.reasoning.weekly_hours == () and plan.reasoning.weekly_closed_min is None


def test_hours_are_told_by_their_days_in_both_languages() -> None:
    english, spanish = wording("en", "us"), wording("es", "si")
    assert hours_words(PEAK, english) == "Mon to Fri, from 4:00 AM to 8:00 AM: peak tariff"
    assert hours_words(NOT_OUR_TURN, english).startswith("Mon, Wed, Thu, Sat and Sun, all day")
    night = WeeklyNoWater((1, 2, 3, 4, 5, 6, 7), 22 * 60, 5 * 60, "not given")
    assert hours_words(night, spanish) == "todos los días, de 22:00 a 05:00 del día siguiente"
