"""Runs: what ran in the field, and what the meter shows."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import FLOW, RUNS, RUNS_DONE
from service.api.dependencies import BlockId, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.problem_types import (
    IDEMPOTENCY_KEY_MISSING,
    IDEMPOTENCY_KEY_TAKEN,
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    STILL_RUNNING,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemType,
)
from service.api.schemas.bodies import RunBatchIn
from service.api.schemas.feedback import FlowOut, RunsOut
from service.operations.feedback.compare_meter import compare_meter
from service.operations.feedback.report_runs import report_runs

REPORT_PROBLEMS: tuple[ProblemType, ...] = (
    MALFORMED_JSON,
    IDEMPOTENCY_KEY_MISSING,
    NOT_FOUND,
    STILL_RUNNING,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    INVALID_REQUEST,
    IDEMPOTENCY_KEY_TAKEN,
)
"""The problems that any report may get."""
router = APIRouter(tags=["feedback"])


@router.post(
    "/runs",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="report_runs",
    summary="Report runs",
    description="Runs that took place, up to 1,000 in a request, of any blocks of the farm, up to "
    "400 days late. They replace what the plan assumed for those days; balances and "
    "tomorrow's plan are updated before the answer. Sending the same run (block and "
    "start) again changes nothing; with different minutes it corrects the run. A metered "
    "volume is booked instead of the minutes, unless the block's pipes, supply or emitters cannot "
    "have passed it (`limit`): then the minutes stand, "
    "`questioned_count` counts it, and sending the run again with `is_volume_confirmed` books it. "
    "Either "
    "all runs of a request are stored, or none.",
    response_model=RunsOut,
    responses={200: described("What was stored.", RUNS_DONE), **problems(*REPORT_PROBLEMS)},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": RUNS}}}},
)
def post_runs(body: RunBatchIn, service: TheService, caller: TheCaller, once: TheOnce) -> Response:
    """Store the runs once."""
    reports = [each.report() for each in body.items]
    return answered_once(
        once,
        lambda unit: RunsOut.from_record(
            report_runs(
                unit,
                reports,
                farm_id=caller.farm_id,
                reporter=reporter_of(caller),
                replanning=service.replanning,
            )
        ),
        service,
    )


@router.get(
    "/blocks/{block_id}/flow",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="compare_meter",
    summary="Compare a block's meter",
    description="Metered water of the block's runs of the last 14 days against what its emitters"
    " should have given. Outside the block's own band a leak or clogging is suspected: 10 %, or"
    " twice the spread of its latest runs.",
    responses={200: described("The check.", FLOW), **problems(NOT_FOUND, INVALID_REQUEST)},
)
def get_flow(block_id: BlockId, service: TheService) -> FlowOut:
    """The check of the last fortnight."""
    return FlowOut.from_record(
        compare_meter(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    )
