"""A block on a timer: offered a program, set by the grower, and counted from then on."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from service.agronomy.week_ahead import DayRule
from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.evening.run_timers import TimersOfFarms
from service.operations.timers.set_timer import (
    TimerState,
    list_timers,
    set_own_program,
    set_timer,
)
from service.records.ledger import IrrigationOrigin
from service.records.plans import PublishedPlan
from service.records.timers import OfferedProgram, TimerProgram, TimerSettings
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    load,
    plan_evening,
    with_timer,
)

ONE_DAY = timedelta(days=1)
NORMALS = "[site.normals]\net0_mm = [1.2, 1.8, 2.8, 4.0, 4.7, 5.4, 5.4, 4.8, 3.8, 2.6, 1.7, 1.2]\n"


def state_of(service: Service) -> TimerState:
    (state,) = list_timers(FARM_ID, unit_of_work=service.unit_of_work, now=service.clock.now())
    assert state.block_id == BLOCK_ID
    return state


def set_it(
    service: Service, program_id: str | None = None, *, set_from: date | None = None
) -> tuple[TimerState, int]:
    with service.unit_of_work(write=True) as unit:
        return set_timer(
            unit, BLOCK_ID, program_id, set_from=set_from, reporter="the grower",
            replanning=service.replanning,
        )  # fmt: skip


def set_own(service: Service, **changes: Any) -> TimerState:
    facts: dict[str, Any] = {
        "first_day": PLAN_DAY, "day_rule": DayRule.WEEKDAYS, "day_mask": 0b1111111,
        "start_count": 2, "first_start_min": 300, "spacing_min": 120, "run_min": 20.0,
    }  # fmt: skip
    with service.unit_of_work(write=True) as unit:
        return set_own_program(
            unit, BLOCK_ID, TimerProgram(**facts | changes), reporter="the grower",
            replanning=service.replanning,
        )[0]  # fmt: skip


def plan_of(service: Service, day: date = PLAN_DAY) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=day)
    assert plan is not None
    return plan


def go_on(service: Service, day: date) -> None:
    """Let the evening of a day come, with its weather."""
    clock = service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + (day - TODAY)
    bring_weather(service, today=day)
    assert not plan_evening(service, on=day)


def test_a_timer_that_nobody_has_set_runs_nothing_and_is_offered_a_program(
    own_service: Service,
) -> None:
    with_timer(own_service)
    state = state_of(own_service)
    assert state.set_program is None
    assert state.to_set is not None
    assert state.to_set.program.first_day == PLAN_DAY
    assert state.to_set.program.minutes_a_week > 0.0
    assert plan_of(own_service).pulses == ()


def test_a_program_that_was_set_is_what_the_plan_says(own_service: Service) -> None:
    with_timer(own_service)
    offered = state_of(own_service).to_set
    assert offered is not None
    state, new_plan_count = set_it(own_service)
    assert new_plan_count >= 1
    assert state.to_set is None
    assert state.set_program is not None
    assert state.set_program.program == offered.program
    assert plan_of(own_service).pulses == offered.program.pulses_on(PLAN_DAY)


def test_the_ledger_counts_a_set_program_until_it_is_changed(own_service: Service) -> None:
    with_timer(own_service)
    set_own(own_service)
    for ahead in range(1, 4):
        go_on(own_service, TODAY + ahead * ONE_DAY)
    with own_service.unit_of_work(write=False) as unit:
        rows = unit.ledger.read_rows(
            unit.blocks.get_block_key(BLOCK_ID), first_day=PLAN_DAY, last_day=TODAY + 3 * ONE_DAY
        )
    assert rows.irrigation_origin.tolist() == [IrrigationOrigin.PLANNED] * 3
    gross_mm = rows.numbers["irrigation_gross_mm"]
    assert gross_mm == pytest.approx(gross_mm[0])
    assert gross_mm[0] > 0.0


def test_between_settings_nothing_is_offered_unless_it_pays(own_service: Service) -> None:
    with_timer(own_service, set_on="wednesday")
    set_it(own_service)
    go_on(own_service, PLAN_DAY)
    assert state_of(own_service).to_set is None
    set_own(
        own_service, first_day=PLAN_DAY + ONE_DAY, start_count=4, run_min=200.0, spacing_min=240
    )
    go_on(own_service, PLAN_DAY + ONE_DAY)
    early = state_of(own_service).to_set
    assert early is not None
    assert early.is_early
    assert early.program.minutes_a_week < 4 * 200.0 * 7 * 0.75


def test_a_new_program_is_offered_on_the_eve_of_the_setting_day(own_service: Service) -> None:
    with_timer(own_service, set_on="friday")
    set_own(own_service, run_min=1.0)
    go_on(own_service, PLAN_DAY + ONE_DAY)  # Thursday
    offered = state_of(own_service).to_set
    assert offered is not None
    assert (offered.program.first_day, offered.is_early) == (PLAN_DAY + 2 * ONE_DAY, False)


def test_a_timer_that_counts_days_is_offered_an_interval(own_service: Service) -> None:
    with_timer(own_service, days="interval")
    offered = state_of(own_service).to_set
    assert offered is not None
    days = [offered.program.runs_on(PLAN_DAY + ahead * ONE_DAY) for ahead in range(29)]
    running = [ahead for ahead, runs in enumerate(days) if runs]
    gaps = {later - earlier for earlier, later in pairwise(running)}
    assert gaps == {offered.program.interval_days}


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"start_count": 5}, "/starts"),
        ({"run_min": 12.5}, "/run_min"),
        ({"first_start_min": 1430, "start_count": 1}, "/starts"),
    ],
)
def test_a_program_that_the_timer_cannot_be_set_to_is_refused(
    own_service: Service, changes: dict[str, object], where: str
) -> None:
    with_timer(own_service)
    with pytest.raises(InputInvalid) as refused:
        set_own(own_service, **changes)
    assert [fault.where for fault in refused.value.faults] == [where]
    assert state_of(own_service).set_program is None


def test_days_that_are_past_and_far_ahead_are_refused(own_service: Service) -> None:
    with_timer(own_service)
    for day in (TODAY - ONE_DAY, TODAY + 8 * ONE_DAY):
        with pytest.raises(InputInvalid, match="cannot be noted"):
            set_it(own_service, set_from=day)


def test_unknown_programs_and_blocks_without_a_timer_are_refused(own_service: Service) -> None:
    with_timer(own_service)
    with pytest.raises(NotFound):
        set_it(own_service, "0" * 16)
    found = list_timers(FARM_ID, unit_of_work=own_service.unit_of_work, now=RUN_AT)
    assert [each.block_id for each in found] == [BLOCK_ID]


def test_a_pause_is_a_time_in_which_the_timer_is_off(own_service: Service) -> None:
    with_timer(own_service)
    set_own(own_service, first_start_min=270)
    go_on(own_service, date(2026, 8, 20))
    assert plan_of(own_service, date(2026, 8, 21)).pulses == ()


@pytest.mark.parametrize(
    ("day", "elapsed"),
    [
        (date(2026, 3, 8), [60, 360]),  # 01:00, and 07:00 an hour earlier than the clock says
        (date(2026, 3, 9), [60, 420]),
        (date(2026, 11, 1), [60, 480]),  # 01:00 comes twice; 07:00 is eight hours into the day
    ],
)
def test_a_timer_follows_the_clock_on_the_wall_on_days_that_it_is_changed(
    day: date, elapsed: list[int]
) -> None:
    program = TimerProgram(
        first_day=date(2026, 3, 1), day_rule=DayRule.EVERY_DAY, day_mask=0b1111111, start_count=2,
        first_start_min=60, spacing_min=360, run_min=20.0,
    )  # fmt: skip
    was_set = OfferedProgram(
        program_id="a", block_id=BLOCK_ID, program=program, offered_at=RUN_AT, is_early=False,
        excess_mm=None, drainage_mm=None, depletion_end_mm=None, normal_day_count=None,
        earlier_year_count=None, set_from=program.first_day, set_at=RUN_AT,
    )  # fmt: skip
    timers = TimersOfFarms(
        rows=np.array([0]),
        settings=(
            TimerSettings(
                start_count=2, run_step_min=1.0, day_rule=DayRule.EVERY_DAY, set_weekday=1
            ),
        ),
        programs=((was_set,),),
        zones=("America/New_York",),
    )
    assert [pulse.start_min for pulse in timers.pulses_on(day)[0]] == elapsed


def states_of(service: Service) -> dict[str, TimerState]:
    found = list_timers(FARM_ID, unit_of_work=service.unit_of_work, now=service.clock.now())
    return {state.block_id: state for state in found}


@pytest.mark.parametrize(
    ("normals", "forecast_day_count", "expected"),
    [("", 7, 0), (NORMALS, 7, 0), (NORMALS, 3, 4), ("", 3, 4), (NORMALS, 0, 7)],
)
def test_days_that_no_forecast_reaches_are_the_normal_of_the_season_and_counted(
    own_service: Service, normals: str, forecast_day_count: int, expected: int
) -> None:
    place = 'elevation = "510 ft"\n'
    timer = '[supply.timer]\nstarts = 4\nset_on = "wednesday"\n\n[[block]]\nid = "north"\n'
    text = FARM.replace(place, place + normals).replace('[[block]]\nid = "north"\n', timer)
    load(own_service, text)
    today = TODAY + 7 * ONE_DAY
    clock = own_service.clock
    assert isinstance(clock, FixedClock)
    clock.instant = RUN_AT + 7 * ONE_DAY
    bring_weather(own_service, today=today, forecast_day_count=forecast_day_count)
    assert not plan_evening(own_service, on=today)
    offered = states_of(own_service)[BLOCK_ID].to_set
    assert offered is not None
    assert offered.normal_day_count == expected
    assert offered.program.minutes_a_week > 0.0


def minutes_open(programs: list[TimerProgram], first_day: date) -> int:
    """Most of these programs that run in one minute of a week."""
    running = np.zeros(7 * 1440, np.int64)
    for program in programs:
        for day in range(7):
            for pulse in program.pulses_on(first_day + day * ONE_DAY):
                begin = day * 1440 + pulse.start_min
                running[begin : begin + pulse.duration_min] += 1
    return int(running.max())


def test_timers_of_one_supply_take_turns_and_are_changed_together(own_service: Service) -> None:
    timer = '[supply.timer]\nstarts = 2\nset_on = "wednesday"\n\n[[block]]\nid = "north"\n'
    assert '[[block]]\nid = "north"\n' in FARM
    # North takes 36 gpm of the well's 40, south 23.
    load(own_service, FARM.replace('[[block]]\nid = "north"\n', timer))
    assert not plan_evening(own_service)
    before = states_of(own_service)
    assert set(before) == {BLOCK_ID, BARE_BLOCK_ID}
    offered = [state.to_set.program for state in before.values() if state.to_set is not None]
    assert len(offered) == 2
    assert minutes_open(offered, PLAN_DAY) == 1
    for block_id in before:
        with own_service.unit_of_work(write=True) as unit:
            set_timer(
                unit, block_id, None, set_from=None, reporter="the grower",
                replanning=own_service.replanning,
            )  # fmt: skip
    go_on(own_service, PLAN_DAY)
    assert [state.to_set for state in states_of(own_service).values()] == [None, None]
    set_own(own_service, first_day=PLAN_DAY + ONE_DAY, start_count=1, run_min=700.0)
    go_on(own_service, PLAN_DAY + ONE_DAY)
    after = states_of(own_service)
    early = after[BLOCK_ID].to_set
    assert early is not None
    assert early.is_early
    # What the neighbor runs already may be what it should: then there is nothing to be set.
    together = [state.to_set or state.set_program for state in after.values()]
    changed = [each.program for each in together if each is not None]
    assert len(changed) == 2
    assert minutes_open(changed, PLAN_DAY + 2 * ONE_DAY) == 1
