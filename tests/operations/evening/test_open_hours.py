"""Hours of every week without water in outlook, timers, questions and fallbacks."""

from __future__ import annotations

from datetime import date

import pytest

from service.agronomy.records import WeeklyNoWater
from service.agronomy.week_ahead import DayRule
from service.bootstrap import Service
from service.operations.review.what_if import what_if
from service.operations.timers.set_timer import list_timers
from service.records.what_if import Change
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    with_timer,
)
from tests.api.paired_controllers import BARN, BARN_CONTROLLER, pair
from tests.operations.evening.test_weekly_effects import NOT_OUR_TURN, PEAK, give, plan_of

DELIVERY_DAYS = (2, 5)


def test_the_outlook_has_water_on_the_days_of_delivery_alone(own_service: Service) -> None:
    give(own_service, NOT_OUR_TURN)
    plan = plan_of(own_service)
    assert plan.pulses == ()
    expected = plan.reasoning.outlook_expected_min
    days = [date.fromordinal(PLAN_DAY.toordinal() + place) for place in range(len(expected))]
    watered = {day.isoweekday() for day, minutes in zip(days, expected, strict=True) if minutes}
    assert watered and watered <= set(DELIVERY_DAYS)


def test_a_question_about_the_week_keeps_to_the_hours(own_service: Service) -> None:
    give(own_service, NOT_OUR_TURN)
    week = what_if(
        FARM_ID,
        Change(supply_flow_fraction=0.9),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        source_order=own_service.source_order,
    )
    for block in week.blocks:
        for each in (*block.now.days, *block.changed.days):
            assert each.expected_min == 0.0 or each.day.isoweekday() in DELIVERY_DAYS


@pytest.mark.parametrize("weekly", [PEAK, NOT_OUR_TURN])
def test_a_timer_is_set_to_hours_and_days_with_water(
    own_service: Service, weekly: WeeklyNoWater
) -> None:
    with_timer(own_service)
    with own_service.unit_of_work(write=False) as unit:
        timer = unit.blocks.get_block(BLOCK_ID, day=PLAN_DAY).timer
    assert timer is not None and timer.day_rule is DayRule.WEEKDAYS
    give(own_service, weekly)
    (state,) = list_timers(
        FARM_ID, unit_of_work=own_service.unit_of_work, now=own_service.clock.now()
    )
    assert state.to_set is not None
    program = state.to_set.program
    days = [date.fromordinal(PLAN_DAY.toordinal() + place) for place in range(7)]
    running = [day for day in days if program.pulses_on(day)]
    assert running
    for day in running:
        if weekly is NOT_OUR_TURN:
            assert day.isoweekday() in DELIVERY_DAYS
        else:
            assert all(pulse.start_min >= 8 * 60 for pulse in program.pulses_on(day))


def test_a_fallback_for_want_of_weather_keeps_to_the_hours(own_service: Service) -> None:
    pair(own_service, "later-farm", BARN_CONTROLLER)  # its fallback is at 05:00 and 18:00
    give(own_service, PEAK, farm_id="later-farm")
    with own_service.unit_of_work(write=False) as unit:
        row = unit.controllers.find_programs([BARN])[0].program
    assert row is not None
    assert "15T18:00" in row.json_text and "15T05:00" not in row.json_text
