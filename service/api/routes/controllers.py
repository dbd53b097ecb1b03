"""Controllers: the program that each one polls."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from service.api.access import Right, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, described, problems
from service.api.dependencies import TheService
from service.api.examples import PROGRAM, PROGRAM_CSV
from service.api.latest_times import LatestTimes
from service.api.negotiation import wants_csv
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND, RETIRED
from service.api.program import Programs, document_response
from service.api.schemas.programs import ProgramAnswerOut
from service.errors import NotFound

router = APIRouter(tags=["controllers"])

CONTROLLER_ID_PATTERN = r"^[a-z0-9][a-z0-9-]{0,39}\.[a-z0-9][a-z0-9-]{0,39}$"
ControllerId = Annotated[
    str,
    Path(
        pattern=CONTROLLER_ID_PATTERN,
        description="Controller in full, `farm.controller`: small letters, digits and hyphens.",
        examples=["hill-farm.shed"],
    ),
]


@router.get(
    "/controllers/{controller_id}/program",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_program",
    summary="Get a controller's program",
    description="What a controller should open, and when, from today to the last day planned, "
    "with the agreed fallback for when the service cannot be reached. JSON, or CSV "
    "for `Accept: text/csv`. Poll every 15 minutes with `If-None-Match`: the tag "
    "changes when the program does, not with the server time in the answer. The "
    "controller contract says what a device must do with it.",
    response_model=ProgramAnswerOut,
    responses={
        200: described("The program.", PROGRAM, csv_example=PROGRAM_CSV, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, RETIRED, INVALID_REQUEST),
    },
)
async def get_program(
    controller_id: ControllerId,
    request: Request,
    service: TheService,
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The program, or 304 if the caller already has it."""
    programs: Programs = request.app.state.programs
    await request.app.state.news.look()
    shown = programs.find(controller_id) or await programs.load(controller_id)
    if shown is None:
        raise NotFound(f"controller {controller_id}: there is no such controller")
    document = shown.document(as_csv=wants_csv(request))
    polls: LatestTimes = request.app.state.polls
    now = service.clock.now()
    polls.note(controller_id, now)
    return document_response(document, if_none_match, server_epoch_s=int(now.timestamp()))
