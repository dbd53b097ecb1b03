"""Notes of visits: what somebody saw in a block or on the whole farm."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api import season_examples as examples
from service.api.access import Right, TheCaller, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.cursors import name_of
from service.api.dependencies import FarmId, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.paging import next_address
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.problems import reported_as
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.visit_notes import (
    LARGEST_PAGE_SIZE,
    VisitNoteIn,
    VisitNoteOut,
    VisitNotePageOut,
    VisitNoteQuery,
)
from service.database.session import UnitOfWork
from service.operations.season.note_visits import list_notes, store_note, with_measured

router = APIRouter(tags=["season"])
_PLACES = {name: f"/{name}" for name in ("day", "text", "block_id", "visitor", "corrects")}


@router.get(
    "/farms/{farm_id}/visit-notes",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_visit_notes",
    summary="List a farm's visit notes",
    description="The newest visit first, page by page; follow `next` until it is null. A note that"
    " was corrected stays and names its correction. `measured` says which tests of that day are on"
    " file.",
    response_model=VisitNotePageOut,
    responses={
        200: described("A page of notes.", examples.NOTES, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_visit_notes(
    farm_id: FarmId,
    request: Request,
    service: TheService,
    query: Annotated[VisitNoteQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """A page of notes, or 304 if the caller already has it."""
    size = min(query.page_size, LARGEST_PAGE_SIZE)
    with reported_as({"block_id": "block", "after": "cursor"}):
        found = list_notes(
            farm_id,
            block_id=query.block,
            after=None if query.cursor is None else name_of(query.cursor),
            most=size + 1,
            unit_of_work=service.unit_of_work,
        )
    has_more = len(found) > size
    page = VisitNotePageOut(
        items=[VisitNoteOut.from_record(each) for each in found[:size]],
        next=next_address(request, found[size - 1].note.note_id) if has_more else None,
    )
    return conditional_response(page, if_none_match)


@router.post(
    "/farms/{farm_id}/visit-notes",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="add_visit_note",
    summary="Keep a visit note",
    description="A note is never changed or deleted; to correct one, send another that names it in"
    " `corrects`. Numbers that were measured go to the tests of their block, not into a note. The"
    " same note again is the one on file.",
    response_model=VisitNoteOut,
    responses={200: described("The note.", examples.NOTE), **problems(*REPORT_PROBLEMS)},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": examples.NOTED}}}},
)
def add_visit_note(
    farm_id: FarmId, body: VisitNoteIn, service: TheService, caller: TheCaller, once: TheOnce
) -> Response:
    """Store the note once."""

    def work(unit: UnitOfWork) -> VisitNoteOut:
        with reported_as(_PLACES):
            note = store_note(
                unit,
                farm_id,
                body.draft(caller.name),
                reporter=reporter_of(caller),
                now=service.clock.now(),
            )
        return VisitNoteOut.from_record(with_measured(unit, [note])[0])

    return answered_once(once, work, service)
