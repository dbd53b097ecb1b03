"""Pauses: no irrigation during harvest, spraying or repair."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import PAUSE, PAUSE_CANCELLED, PAUSED, PAUSES
from service.api.dependencies import BlockId, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import PauseIn
from service.api.schemas.feedback import CancelledOut, PausedOut, PauseOut, PausesOut
from service.database.session import UnitOfWork
from service.operations.feedback.pause_blocks import cancel_pause, list_pauses, pause_block

PauseId = Annotated[
    str,
    Path(
        pattern=r"^[0-9a-f]{16}$",
        description="Name of the pause, as returned when it was created.",
        examples=["5f0c2f9e1d3b4a58"],
    ),
]
router = APIRouter(tags=["feedback"])


@router.post(
    "/blocks/{block_id}/pauses",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="pause_block",
    summary="Pause a block",
    description="No irrigation between two wall-clock times of the block. Tomorrow's plan and the "
    "rest of today's are updated before the answer. A pulse that is running, or "
    "starts within 20 minutes, cannot be stopped by a plan: close its valve by hand.",
    response_model=PausedOut,
    responses={200: described("The pause.", PAUSED), **problems(*REPORT_PROBLEMS)},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": PAUSE}}}},
)
def report_pause(
    block_id: BlockId, body: PauseIn, service: TheService, caller: TheCaller, once: TheOnce
) -> Response:
    """Store the pause once."""

    def work(unit: UnitOfWork) -> PausedOut:
        pause, count = pause_block(
            unit,
            block_id,
            starts_local=body.starts_local,
            ends_local=body.ends_local,
            reason=body.reason,
            reporter=reporter_of(caller),
            replanning=service.replanning,
        )
        return PausedOut(pause=PauseOut.from_record(pause), new_plan_count=count)

    return answered_once(once, work, service)


@router.get(
    "/blocks/{block_id}/pauses",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_pauses",
    summary="List a block's pauses",
    description="Pauses that have not been canceled, past ones included, by start; at most 100.",
    responses={200: described("The pauses.", PAUSES), **problems(NOT_FOUND, INVALID_REQUEST)},
)
def show_pauses(block_id: BlockId, service: TheService) -> PausesOut:
    """The pauses of a block."""
    found = list_pauses(block_id, unit_of_work=service.unit_of_work)
    return PausesOut(items=[PauseOut.from_record(each) for each in found])


@router.delete(
    "/blocks/{block_id}/pauses/{pause_id}",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="cancel_pause",
    summary="Cancel a pause",
    description="Plans are updated before the answer, as if the pause had never been made. "
    "Canceling again changes nothing.",
    responses={
        200: described("The pause is canceled.", PAUSE_CANCELLED),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def take_back(block_id: BlockId, pause_id: PauseId, service: TheService) -> CancelledOut:
    """Cancel one."""
    count = cancel_pause(
        block_id,
        pause_id,
        unit_of_work=service.unit_of_work,
        replanning=service.replanning,
    )
    return CancelledOut(pause_id=pause_id, new_plan_count=count)
