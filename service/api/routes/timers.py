"""Timers: which program to set on each, and that it was set."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import TIMER_PROGRAM, TIMER_SET, TIMERS
from service.api.dependencies import BlockId, FarmId, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import TimerProgramIn
from service.api.schemas.timers import TimerOut, TimerSetOut, TimersOut
from service.database.session import UnitOfWork
from service.operations.timers.set_timer import list_timers, set_timer

router = APIRouter(tags=["feedback"])


@router.get(
    "/farms/{farm_id}/timers",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_timers",
    summary="List a farm's timers",
    description="What each timer of the farm runs, and what to set on it. A new program is worked"
    " out on the evening before the setting day, and between two settings where a change pays.",
    responses={200: described("The timers.", TIMERS), **problems(NOT_FOUND, INVALID_REQUEST)},
)
def show_timers(farm_id: FarmId, service: TheService) -> TimersOut:
    """The timers of a farm."""
    found = list_timers(farm_id, unit_of_work=service.unit_of_work, now=service.clock.now())
    return TimersOut(items=[TimerOut.from_record(each) for each in found])


@router.post(
    "/blocks/{block_id}/timer",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="set_timer",
    summary="Say that a timer was set",
    description="From the first day on, the ledger counts the program as running each day until"
    " another is set. Plans are updated before the answer.",
    response_model=TimerSetOut,
    responses={200: described("The timer.", TIMER_SET), **problems(*REPORT_PROBLEMS)},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": TIMER_PROGRAM}}}},
)
def report_program(
    block_id: BlockId, body: TimerProgramIn, service: TheService, caller: TheCaller, once: TheOnce
) -> Response:
    """Store once that it was set."""

    def work(unit: UnitOfWork) -> TimerSetOut:
        state, count = set_timer(
            unit,
            block_id,
            body.program_id,
            set_from=body.set_from,
            reporter=reporter_of(caller),
            replanning=service.replanning,
        )
        return TimerSetOut(timer=TimerOut.from_record(state), new_plan_count=count)

    return answered_once(once, work, service)
