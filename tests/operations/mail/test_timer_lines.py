"""Which mails name the program of a timer: the evening of its day, and the weekly one until set."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.operations.mail.timer_lines import line_of_day, line_of_week
from service.operations.timers.set_timer import TimerState, list_timers, set_timer
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, plan_evening, with_timer


def state_of(service: Service) -> TimerState:
    (state,) = list_timers(FARM_ID, unit_of_work=service.unit_of_work, now=service.clock.now())
    return state


@pytest.mark.parametrize(
    ("set_on", "named"), [("wednesday", True), ("friday", False)], ids=["its day", "another day"]
)
def test_an_evening_names_a_new_program_on_the_eve_of_its_day(
    own_service: Service, set_on: str, *, named: bool
) -> None:
    with_timer(own_service, set_on="wednesday")
    with own_service.unit_of_work(write=True) as unit:
        set_timer(
            unit, BLOCK_ID, None, set_from=None, reporter="test", replanning=own_service.replanning
        )
    with_timer(own_service, set_on=set_on)
    plan_evening(own_service)
    state = state_of(own_service)
    line = line_of_day(state, PLAN_DAY)
    assert line.is_set
    assert line.next_setting == PLAN_DAY + timedelta(days=7 if named else 2)
    if not named:
        assert (line.to_set, line.program_id, line.excess_mm) == (None, "", None)


def test_what_nobody_has_set_is_in_both_mails(own_service: Service) -> None:
    with_timer(own_service)
    state = state_of(own_service)
    assert state.to_set is not None
    for line in (line_of_day(state, PLAN_DAY), line_of_week(state)):
        assert not line.is_set and not line.is_early
        assert (line.to_set, line.program_id) == (state.to_set.program, state.to_set.program_id)
