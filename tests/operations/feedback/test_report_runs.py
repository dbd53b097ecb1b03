"""Runs that took place: all of a report or none, once, with balance and plans behind them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.agronomy.civil_day import ONE_DAY
from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.feedback.compare_meter import block_flow_l_per_h
from service.operations.feedback.report_runs import (
    LONGEST_RUN_MIN,
    MOST_RUNS,
    OLDEST_RUN,
    ReportedRuns,
    RunReport,
    report_runs,
)
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    YOUNG_BLOCK_ID,
)

RUN = RunReport(BLOCK_ID, datetime(2026, 7, 14, 9, tzinfo=UTC), 240.0)
"""Four hours from five in the morning on, at the farm."""


def report(service: Service, *runs: RunReport, farm_id: str | None = FARM_ID) -> ReportedRuns:
    with service.unit_of_work(write=True) as unit:
        return report_runs(
            unit, runs, farm_id=farm_id, reporter="the grower", replanning=service.replanning
        )


def version_of(service: Service, block_id: str = BLOCK_ID) -> int:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan.version


def booked(service: Service) -> tuple[float, int]:
    """Irrigation of today in the ledger, gross, and where it comes from."""
    with service.unit_of_work(write=False) as unit:
        key = unit.blocks.get_block_key(BLOCK_ID)
        rows = unit.ledger.read_rows(key, first_day=TODAY, last_day=TODAY)
    return float(rows.numbers["irrigation_gross_mm"][0]), int(rows.irrigation_origin[0])


def test_a_run_is_booked_and_tomorrows_plan_replaced_before_the_report_ends(
    own_service: Service,
) -> None:
    before = booked(own_service)
    found = report(own_service, RUN)
    assert (found.outcome.created_count, found.flow) == (1, ())
    assert found.new_version_count >= 1
    assert booked(own_service) != before
    assert version_of(own_service) == 2


def test_the_same_run_again_changes_nothing_and_other_minutes_correct_it(
    own_service: Service,
) -> None:
    report(own_service, RUN)
    before = booked(own_service), version_of(own_service)
    again = report(own_service, RUN)
    assert (again.outcome.unchanged_count, again.new_version_count) == (1, 0)
    assert (booked(own_service), version_of(own_service)) == before
    shorter = report(own_service, replace(RUN, duration_min=120.0))
    assert (shorter.outcome.created_count, shorter.outcome.changed_count) == (0, 1)
    assert booked(own_service)[0] == pytest.approx(before[0][0] / 2.0)


def test_a_time_without_a_zone_is_on_the_clock_of_the_block(own_service: Service) -> None:
    report(own_service, RUN)
    local = datetime.fromisoformat("2026-07-14T05:00:00")
    again = report(own_service, replace(RUN, started_at=local))
    assert again.outcome.unchanged_count == 1


@pytest.mark.parametrize(
    ("changes", "where", "allowed"),
    [
        ({"block_id": f"{FARM_ID}.nowhere"}, "block_id", "a block that is in force, farm.block"),
        ({"block_id": YOUNG_BLOCK_ID}, "block_id", "a block that is in force, farm.block"),
        ({"started_at": RUN_AT + timedelta(hours=1)}, "started_at", "400 days ago"),
        ({"started_at": RUN_AT - OLDEST_RUN - ONE_DAY}, "started_at", "400 days ago"),
        ({"duration_min": LONGEST_RUN_MIN + 1.0}, "duration_min", "0 to 1500 minutes"),
        ({"duration_min": -1.0}, "duration_min", "0 to 1500 minutes"),
        ({"volume_l": -1.0}, "volume_l", "0 to 1e+08 litres"),
    ],
    ids=["no block", "another's", "to come", "too old", "too long", "below zero", "volume"],
)
def test_one_impossible_run_keeps_the_others_out_and_is_reported_by_its_place(
    own_service: Service, changes: dict[str, Any], where: str, allowed: str
) -> None:
    before = booked(own_service)
    with pytest.raises(InputInvalid) as refused:
        report(own_service, RUN, replace(RUN, **changes))
    (fault,) = refused.value.faults
    assert fault.where == f"/items/1/{where}"
    assert allowed in fault.allowed
    assert (booked(own_service), version_of(own_service)) == (before, 1)


@pytest.mark.parametrize("count", [0, MOST_RUNS + 1])
def test_a_report_of_no_run_or_of_too_many_is_refused(own_service: Service, count: int) -> None:
    with pytest.raises(InputInvalid) as refused:
        report(own_service, *[RUN] * count)
    assert str(refused.value.faults[0]) == (
        f"/items: found {count} runs; allowed: 1 to 1000 runs in a request"
    )


def test_runs_of_any_farm_are_taken_from_the_operator(own_service: Service) -> None:
    found = report(own_service, RUN, replace(RUN, block_id=YOUNG_BLOCK_ID), farm_id=None)
    assert found.outcome.created_count == 2


def test_metered_runs_are_held_against_their_block_one_note_a_block(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        flow = block_flow_l_per_h(unit.blocks.get_block(BLOCK_ID, day=TODAY))
    later = replace(RUN, started_at=RUN.started_at + timedelta(hours=6), duration_min=60.0)
    unmetered = replace(RUN, block_id=BARE_BLOCK_ID)
    found = report(
        own_service,
        replace(RUN, volume_l=4.0 * flow),
        replace(later, volume_l=0.5 * flow),
        unmetered,
    )
    (note,) = found.flow
    assert (note.block_id, note.run_count, note.duration_min) == (BLOCK_ID, 2, 300.0)
    assert note.flow_ratio == pytest.approx(0.9)
    assert note.expected_volume_l == pytest.approx(5.0 * flow)
