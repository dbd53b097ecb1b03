"""A day in one report: as planned or not, once, never over what was reported before."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

import pytest

from service.agronomy.civil_day import ONE_DAY
from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.feedback.report_day import (
    LOOK_BACK,
    DayReport,
    DayToReport,
    ReportedDays,
    days_to_report,
    report_days,
)
from service.operations.feedback.report_runs import LONGEST_RUN_MIN, RunReport, report_runs
from service.records.feedback import GivenRun
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    YOUNG_BLOCK_ID,
    FixedClock,
    plan_evening,
)

EVENING = datetime(2026, 7, 16, 1, 0, tzinfo=UTC)
"""Nine in the evening of the day that was planned, at the farm."""


@pytest.fixture
def over(own_service: Service) -> Service:
    """The planned day is over, and the next one planned."""
    plan_evening(own_service, on=PLAN_DAY)
    at(own_service, EVENING)
    return own_service


def at(service: Service, instant: datetime) -> None:
    assert isinstance(service.clock, FixedClock)
    service.clock.instant = instant


def waiting(service: Service) -> tuple[DayToReport, ...]:
    with service.unit_of_work(write=False) as unit:
        return days_to_report(unit, FARM_ID, now=service.clock.now())


def report(service: Service, *days: DayReport, farm_id: str = FARM_ID) -> ReportedDays:
    with service.unit_of_work(write=True) as unit:
        return report_days(
            unit, farm_id, days, reporter="the grower", replanning=service.replanning
        )


def runs_of(service: Service, block_id: str) -> list[GivenRun]:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(block_id)
        return unit.reports.list_runs(key, first_day=PLAN_DAY, last_day=PLAN_DAY)


def test_a_day_is_asked_about_once_its_last_pulse_is_over_and_for_seven_days(
    over: Service,
) -> None:
    (day,) = waiting(over)
    assert (day.day, day.reported_ids) == (PLAN_DAY, frozenset())
    assert {block.block_id for block in day.blocks} <= {BLOCK_ID, BARE_BLOCK_ID}
    last_min = max(block.pulses[-1].end_min for block in day.blocks)
    midnight = datetime(2026, 7, 15, 4, tzinfo=UTC)
    at(over, midnight + timedelta(minutes=last_min - 1))
    assert waiting(over) == ()
    at(over, midnight + timedelta(minutes=last_min))
    assert waiting(over) == (day,)
    at(over, EVENING + LOOK_BACK)
    assert day in waiting(over)
    at(over, EVENING + LOOK_BACK + ONE_DAY)
    assert day not in waiting(over)


def test_as_planned_stores_each_pulse_and_is_not_asked_again(over: Service) -> None:
    (day,) = waiting(over)
    done = report(over, DayReport(PLAN_DAY))
    assert (done.block_days_count, done.kept) == (len(day.blocks), ())
    for block in day.blocks:
        stored = [(run.start_min, run.duration_min) for run in runs_of(over, block.block_id)]
        assert stored == [tuple(pulse) for pulse in block.pulses]
    assert waiting(over) == ()


def test_the_same_report_again_changes_nothing_and_says_what_stays(over: Service) -> None:
    (day,) = waiting(over)
    report(over, DayReport(PLAN_DAY, {BLOCK_ID: 10.0}))
    before = runs_of(over, BLOCK_ID)
    again = report(over, DayReport(PLAN_DAY))
    assert (again.run_count, again.new_version_count) == (0, 0)
    assert again.kept == tuple((PLAN_DAY, name) for name in sorted(b.block_id for b in day.blocks))
    assert runs_of(over, BLOCK_ID) == before


def test_a_block_that_differed_has_its_own_minutes_and_the_plan_follows(over: Service) -> None:
    done = report(over, DayReport(PLAN_DAY, {BLOCK_ID: 0.0}))
    assert [run.duration_min for run in runs_of(over, BLOCK_ID)] == [0.0]
    assert done.new_version_count >= 1
    with over.unit_of_work(write=False) as unit:
        entries = unit.audit.list_entries(FARM_ID, count=10)
    assert BLOCK_ID in {entry.subject_id for entry in entries}


def test_a_block_that_a_controller_reported_is_left_as_it_was(over: Service) -> None:
    run = RunReport(BLOCK_ID, datetime.fromisoformat("2026-07-15T05:00"), 17.0)
    with over.unit_of_work(write=True) as unit:
        report_runs(unit, [run], farm_id=FARM_ID, reporter="controller", replanning=over.replanning)
    before = runs_of(over, BLOCK_ID)
    done = report(over, DayReport(PLAN_DAY, {BLOCK_ID: 200.0}))
    assert done.kept == ((PLAN_DAY, BLOCK_ID),)
    assert runs_of(over, BLOCK_ID) == before


@pytest.mark.parametrize(
    ("day", "ran_min", "where"),
    [
        (PLAN_DAY + ONE_DAY, {}, "/days/0/day"),
        (PLAN_DAY - ONE_DAY, {}, "/days/0/day"),
        (date.max, {}, "/days/0/day"),
        (PLAN_DAY, {YOUNG_BLOCK_ID: 1.0}, f"/days/0/ran_min/{YOUNG_BLOCK_ID}"),
        (PLAN_DAY, {"<b>": 1.0}, "/days/0/ran_min/<b>"),
        (PLAN_DAY, {BLOCK_ID: -1.0}, f"/days/0/ran_min/{BLOCK_ID}"),
        (PLAN_DAY, {BLOCK_ID: math.nan}, f"/days/0/ran_min/{BLOCK_ID}"),
        (PLAN_DAY, {BLOCK_ID: LONGEST_RUN_MIN + 1.0}, f"/days/0/ran_min/{BLOCK_ID}"),
    ],
    ids=["to come", "no plan", "never", "another farm's", "hostile", "negative", "nan", "long"],
)
def test_what_cannot_have_happened_is_refused_with_its_place_and_stores_nothing(
    over: Service, day: date, ran_min: dict[str, float], where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        report(over, DayReport(day, ran_min))
    assert [fault.where for fault in refused.value.faults] == [where]
    assert len(waiting(over)) == 1


def test_a_report_of_no_day_or_of_a_day_twice_is_refused(over: Service) -> None:
    for days in ((), (DayReport(PLAN_DAY), DayReport(PLAN_DAY))):
        with pytest.raises(InputInvalid):
            report(over, *days)
    with pytest.raises(NotFound):
        report(over, DayReport(PLAN_DAY), farm_id="nowhere")
