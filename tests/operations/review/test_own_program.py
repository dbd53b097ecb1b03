"""What was run in a block: by reported runs, else by what its timer had been set to."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from service.agronomy.week_ahead import DayRule
from service.bootstrap import Service
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.review.own_program import find_own_runs
from service.operations.timers.set_timer import set_own_program
from service.pulses import Pulse
from service.records.comparison import OwnRuns
from service.records.timers import TimerProgram
from tests.api.invented_farm import BLOCK_ID, FARM_ID, PLAN_DAY, TODAY, with_timer

SPAN = (date(2026, 6, 20), date(2026, 7, 16))


def known(service: Service, first_day: date = SPAN[0]) -> OwnRuns | None:
    return find_own_runs(
        BLOCK_ID, first_day=first_day, last_day=SPAN[1], unit_of_work=service.unit_of_work
    ).get(BLOCK_ID)


def report(
    service: Service, *days: date, minutes: float = 60.0, liters: float | None = None
) -> None:
    """Runs from five in the morning on, at the farm."""
    runs = [
        RunReport(
            BLOCK_ID, datetime(day.year, day.month, day.day, 9, tzinfo=UTC), minutes,
            volume_l=liters,
        )
        for day in days
    ]  # fmt: skip
    with service.unit_of_work(write=True) as unit:
        report_runs(
            unit, runs, farm_id=FARM_ID, reporter="the grower", replanning=service.replanning
        )


def july(*days: int) -> list[date]:
    return [date(2026, 7, day) for day in days]


def test_of_a_block_without_reports_nothing_is_known(own_service: Service) -> None:
    assert known(own_service) is None


def test_between_runs_a_week_apart_nothing_ran_and_further_apart_nothing_is_known(
    own_service: Service,
) -> None:
    report(own_service, *july(1, 4, 12))
    found = known(own_service)
    assert found is not None
    assert sorted(found.known_days) == july(1, 2, 3, 4, 12)
    assert dict(found.pulses) == {day: (Pulse(300, 60),) for day in july(1, 4, 12)}


def test_a_run_before_the_span_says_that_nothing_ran_until_the_next(own_service: Service) -> None:
    report(own_service, *july(1, 4))
    found = known(own_service, date(2026, 7, 3))
    assert found is not None
    assert sorted(found.known_days) == july(3, 4)


def test_a_metered_volume_counts_as_the_minutes_that_its_emitters_need(
    own_service: Service,
) -> None:
    # 0.75 ac with two lines of 0.5 gph every 18 in, rows 10 ft apart, pass 8,245 L/h.
    report(own_service, date(2026, 7, 10), minutes=60.0, liters=6_184.0)
    found = known(own_service)
    assert found is not None
    assert found.pulses[date(2026, 7, 10)] == (Pulse(300, 45),)


def test_a_timer_ran_what_it_was_set_to_unless_a_run_says_otherwise(own_service: Service) -> None:
    with_timer(own_service)
    program = TimerProgram(
        first_day=PLAN_DAY, day_rule=DayRule.WEEKDAYS, day_mask=0b1111111, start_count=2,
        first_start_min=300, spacing_min=120, run_min=20.0,
    )  # fmt: skip
    with own_service.unit_of_work(write=True) as unit:
        set_own_program(
            unit, BLOCK_ID, program, reporter="the grower", replanning=own_service.replanning
        )
    found = known(own_service)
    assert found is not None
    assert sorted(found.known_days) == july(15, 16)
    assert found.pulses[PLAN_DAY] == (Pulse(300, 20), Pulse(420, 20))
    report(own_service, TODAY, minutes=45.0)
    again = known(own_service)
    assert again is not None
    assert again.pulses[TODAY] == (Pulse(300, 45),)
    assert again.pulses[PLAN_DAY] == found.pulses[PLAN_DAY]


@pytest.mark.parametrize("minutes", [0.4, 90.2])
def test_runs_are_taken_in_whole_minutes(own_service: Service, minutes: float) -> None:
    report(own_service, TODAY, minutes=minutes)
    found = known(own_service)
    assert found is not None
    assert found.pulses[TODAY] == (Pulse(300, round(minutes)),)
