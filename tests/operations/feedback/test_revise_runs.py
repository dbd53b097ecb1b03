"""Reported runs: listed, corrected, undone; balance, plans and record follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.audit.read_audit import read_audit
from service.operations.feedback.report_runs import ReportedRuns, RunReport, report_runs
from service.operations.feedback.revise_runs import (
    RunPage,
    RunsWish,
    RunUndone,
    correct_run,
    list_reported,
    undo_run,
)
from service.operations.reading.follow_farms import follow_runs
from service.records.audit import AuditEntry, Subject
from service.records.feeds import FeedWish, RunEntry
from service.records.ledger import IrrigationOrigin
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, PLAN_DAY, TODAY

START = datetime(2026, 7, 14, 9, tzinfo=UTC)
RUN = RunReport(BLOCK_ID, START, 240.0)
"""Four hours from five in the morning on, at the farm."""


def report(service: Service, *runs: RunReport) -> ReportedRuns:
    with service.unit_of_work(write=True) as unit:
        return report_runs(
            unit, runs, farm_id=FARM_ID, reporter="the grower", replanning=service.replanning
        )


def undo(service: Service, started_at: datetime = START, block_id: str = BLOCK_ID) -> RunUndone:
    with service.unit_of_work(write=True) as unit:
        return undo_run(unit, block_id, started_at, replanning=service.replanning)


def correct(service: Service, corrected: RunReport, started_at: datetime = START) -> ReportedRuns:
    with service.unit_of_work(write=True) as unit:
        return correct_run(
            unit, started_at, corrected, reporter="the grower", replanning=service.replanning
        )


def listed(service: Service, **wish: object) -> RunPage:
    return list_reported(RunsWish(FARM_ID, **wish), unit_of_work=service.unit_of_work)  # type: ignore[arg-type]  # fields of the wish


def planned_min(service: Service) -> int:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    return plan.planned_min


def booked(service: Service) -> tuple[float, IrrigationOrigin]:
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        rows = unit.ledger.read_rows(key, first_day=TODAY, last_day=TODAY)
    return float(rows.numbers["irrigation_gross_mm"][0]), IrrigationOrigin(
        rows.irrigation_origin[0]
    )


def followed(service: Service, after: tuple[int, int]) -> Sequence[RunEntry]:
    wish = FeedWish(farm_id=FARM_ID)
    return follow_runs(wish, after=after, count=10, unit_of_work=service.unit_of_work).entries


def noted(service: Service) -> list[AuditEntry]:
    page = read_audit(FARM_ID, count=10, subjects=[Subject.RUNS], unit_of_work=service.unit_of_work)
    return list(page.entries)


def test_an_undone_run_leaves_the_day_as_if_it_had_never_been_reported(
    own_service: Service,
) -> None:
    before = booked(own_service), planned_min(own_service)
    report(own_service, RUN)
    assert (booked(own_service), planned_min(own_service)) != before
    done = undo(own_service)
    assert done.run_count == 1 and done.new_version_count >= 1
    assert (booked(own_service), planned_min(own_service)) == before
    assert listed(own_service).runs == []


def test_undoing_is_in_the_record_and_undoing_again_changes_nothing(own_service: Service) -> None:
    report(own_service, RUN)
    undo(own_service)
    newest = noted(own_service)[0]
    water = {"duration_min": 240.0, "volume_l": None}
    assert (newest.before, newest.after) == ({START.isoformat(): water}, None)
    assert undo(own_service) == RunUndone(0, 0)
    assert len(noted(own_service)) == 2


def test_a_copy_elsewhere_learns_that_a_run_was_undone(own_service: Service) -> None:
    report(own_service, RUN)
    (first,) = followed(own_service, (0, 0))
    undo(own_service)
    (again,) = followed(own_service, (first.change_count, first.run_key))
    assert first.undone_at is None and again.undone_at is not None
    assert (again.block_id, again.started_at) == (first.block_id, first.started_at)


def test_a_run_that_was_undone_can_be_reported_again(own_service: Service) -> None:
    report(own_service, RUN)
    first = booked(own_service)
    undo(own_service)
    assert report(own_service, RUN).outcome.created_count == 1
    assert booked(own_service) == first
    assert noted(own_service)[0].before == {START.isoformat(): None}


def test_a_start_without_an_offset_is_on_the_sites_clock(own_service: Service) -> None:
    report(own_service, RUN)
    assert undo(own_service, datetime(2026, 7, 14, 5)).run_count == 1  # noqa: DTZ001 - wall clock


def test_a_run_that_nobody_reported_or_of_no_block_is_not_found(own_service: Service) -> None:
    report(own_service, RUN)
    for start, block_id in ((START + timedelta(minutes=1), BLOCK_ID), (START, BARE_BLOCK_ID)):
        with pytest.raises(NotFound):
            undo(own_service, start, block_id)
    with pytest.raises(NotFound):
        undo(own_service, START, f"{FARM_ID}.nowhere")


def test_a_run_is_corrected_in_place(own_service: Service) -> None:
    report(own_service, RUN)
    done = correct(own_service, replace(RUN, duration_min=30.0))
    assert done.outcome.changed_count == 1
    assert [each.duration_min for each in listed(own_service).runs] == [30.0]


def test_a_run_is_moved_to_the_time_when_it_really_began(own_service: Service) -> None:
    report(own_service, RUN)
    correct(own_service, replace(RUN, started_at=START - timedelta(days=1)))
    (run,) = listed(own_service).runs
    assert (run.started_at, run.day) == (START - timedelta(days=1), date(2026, 7, 13))
    assert booked(own_service)[1] is not IrrigationOrigin.REPORTED


def test_a_run_is_not_moved_onto_another_or_into_the_future(own_service: Service) -> None:
    other = replace(RUN, started_at=START + timedelta(hours=5), duration_min=10.0)
    report(own_service, RUN, other)
    for start in (other.started_at, START + timedelta(days=3)):
        with pytest.raises(InputInvalid) as caught:
            correct(own_service, replace(RUN, started_at=start))
        assert [fault.where for fault in caught.value.faults] == ["/started_at"]
    assert len(listed(own_service).runs) == 2, "what cannot be corrected stays as it was"


def test_runs_are_listed_by_block_and_days_the_latest_first(own_service: Service) -> None:
    days = [START - timedelta(days=ago) for ago in (2, 0, 1)]
    report(own_service, *(replace(RUN, started_at=day, duration_min=20.0) for day in days))
    report(own_service, RunReport(BARE_BLOCK_ID, START, 15.0))
    starts = [each.started_at for each in listed(own_service, block_id=BLOCK_ID).runs]
    assert starts == sorted(days, reverse=True)
    page = listed(own_service, block_id=BLOCK_ID, count=2)
    assert page.has_more
    last = page.runs[-1]
    rest = listed(own_service, block_id=BLOCK_ID, before=(last.started_at, last.run_key))
    assert [each.started_at for each in rest.runs] == [min(days)]
    of_day = listed(own_service, first_day=TODAY, last_day=TODAY)
    assert {each.block_id for each in of_day.runs} == {BLOCK_ID, BARE_BLOCK_ID}


def test_days_that_do_not_rise_and_another_farms_block_are_refused(own_service: Service) -> None:
    with pytest.raises(InputInvalid):
        listed(own_service, first_day=TODAY, last_day=TODAY - timedelta(days=1))
    with pytest.raises(NotFound):
        listed(own_service, block_id="later-farm.young")
