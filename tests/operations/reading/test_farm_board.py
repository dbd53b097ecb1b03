"""A farm at a glance, held to its plans, its ledger and what was reported."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from service.bootstrap import Service
from service.operations.feedback.report_runs import RunReport, report_runs
from service.operations.reading.farm_board import DAYS_BACK, FarmBoard, farm_board
from service.operations.reading.read_balance import read_balance
from service.operations.reading.read_plans import get_plan
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    YOUNG_BLOCK_ID,
    FixedClock,
)


def board_of(service: Service, farm_id: str = FARM_ID) -> FarmBoard:
    return farm_board(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)


def test_the_water_left_is_that_of_the_ledger_at_midnight(own_service: Service) -> None:
    lines = {line.block.block_id: line for line in board_of(own_service).lines}
    for block_id in (BLOCK_ID, BARE_BLOCK_ID):
        rows = read_balance(
            block_id,
            first_day=TODAY,
            last_day=TODAY,
            unit_of_work=own_service.unit_of_work,
            clock=own_service.clock,
        ).rows
        missing_mm, taw_mm = rows.numbers["depletion_end_mm"][0], rows.numbers["taw_mm"][0]
        assert lines[block_id].available_fraction == pytest.approx(
            max(0.0, 1.0 - missing_mm / taw_mm), abs=1e-6
        )


def test_the_block_that_has_used_most_comes_first(own_service: Service) -> None:
    lines = board_of(own_service).lines
    used = [line.used_raw_fraction for line in lines]
    assert len(used) == 2
    assert None not in used
    assert used == sorted(used, key=lambda share: -(share or 0.0))


def test_water_is_due_on_the_first_day_of_plan_or_outlook(own_service: Service) -> None:
    board = board_of(own_service)
    for line in board.lines:
        plan = get_plan(line.block.block_id, day=None, unit_of_work=own_service.unit_of_work).plan
        expected = plan.reasoning.outlook_expected_min
        ahead = next((place for place, minutes in enumerate(expected) if minutes), None)
        if plan.pulses:
            assert (line.due_day, board.due_in_days(line)) == (PLAN_DAY, 1)
        elif ahead is None:
            assert line.due_day is None
        else:
            assert line.due_day == PLAN_DAY + timedelta(days=ahead)


def test_what_ran_is_held_against_the_plans_of_reported_days(own_service: Service) -> None:
    service = own_service
    clock = service.clock
    planned = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=service.unit_of_work).plan.planned_min
    assert planned > 0
    assert isinstance(clock, FixedClock)
    clock.instant = datetime(2026, 7, 15, 23, tzinfo=UTC)
    before = {line.block.block_id: line for line in board_of(service).lines}[BLOCK_ID]
    assert (before.planned_min, before.run_min, before.unreported_days_count) == (0.0, 0.0, 1)
    run = RunReport(BLOCK_ID, datetime(2026, 7, 15, 9, tzinfo=UTC), 25.0)
    with service.unit_of_work(write=True) as unit:
        report_runs(unit, [run], farm_id=FARM_ID, reporter="me", replanning=service.replanning)
    board = board_of(service)
    after = {line.block.block_id: line for line in board.lines}[BLOCK_ID]
    assert (after.planned_min, after.run_min, after.unreported_days_count) == (planned, 25.0, 0)
    assert (board.today - board.first_day).days == DAYS_BACK - 1


def test_a_block_without_a_plan_is_on_the_board(own_service: Service) -> None:
    (line,) = board_of(own_service, "later-farm").lines
    assert line.block.block_id == YOUNG_BLOCK_ID
    assert (line.view, line.available_fraction, line.due_day) == (None, None, None)
