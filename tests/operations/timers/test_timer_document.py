"""The document of a timer, which the command line prints and the API answers."""

from __future__ import annotations

from datetime import UTC, date, datetime

from service.agronomy.week_ahead import DayRule
from service.api.schemas.timers import TimerOut
from service.operations.timers.set_timer import TimerState
from service.operations.timers.timer_document import timer_document
from service.records.timers import OfferedProgram, TimerProgram, TimerSettings


def state_with(day_rule: DayRule) -> TimerState:
    """A timer that nobody has set, offered a program from a Wednesday on."""
    program = TimerProgram(
        first_day=date(2026, 7, 15), day_rule=day_rule, day_mask=0b1010101, start_count=2,
        first_start_min=300, spacing_min=90, run_min=12.5,
    )  # fmt: skip
    offered = OfferedProgram(
        program_id="a", block_id="farm.north", program=program,
        offered_at=datetime(2026, 7, 14, 23, tzinfo=UTC), is_early=False, excess_mm=0.0,
        drainage_mm=1.5, depletion_end_mm=4.0, normal_day_count=2,
        earlier_year_count=3, set_from=None, set_at=None,
    )  # fmt: skip
    settings = TimerSettings(start_count=2, run_step_min=0.5, day_rule=day_rule, set_weekday=3)
    return TimerState(
        block_id="farm.north", block_name="North", settings=settings, today=date(2026, 7, 14),
        set_program=None, to_set=offered,
    )  # fmt: skip


def test_a_timer_names_the_days_as_it_is_set_to_them() -> None:
    weekdays = timer_document(state_with(DayRule.WEEKDAYS))["to_set"]
    interval = timer_document(state_with(DayRule.INTERVAL))["to_set"]
    assert isinstance(weekdays, dict) and isinstance(interval, dict)
    assert (weekdays["weekdays"], weekdays["interval_days"]) == ([2, 3, 5, 7], None)
    assert (interval["weekdays"], interval["interval_days"]) == ([], 2)
    assert weekdays["starts"] == ["05:00", "06:30"]
    assert weekdays["minutes_a_week"] == 4 * 2 * 12.5


def test_the_api_answers_every_field_of_the_document() -> None:
    state = state_with(DayRule.WEEKDAYS)
    assert TimerOut.from_record(state).model_dump() == timer_document(state)
