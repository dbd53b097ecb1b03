"""The record of changes: of a farm, the newest first, and of all that a caller sees, in order."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import IfNoneMatch, conditional_response
from service.api.audit_examples import CHANGE_FEED, CHANGE_PAGE
from service.api.dependencies import FarmId, TheService
from service.api.paging import ThePages, list_answers, next_address
from service.api.schemas.changes import ChangeFeedOut, ChangeOut, ChangePageOut, ChangesQuery
from service.api.schemas.queries import PageQuery
from service.operations.audit.read_audit import follow_audit, read_audit

router = APIRouter(tags=["changes"])


@router.get(
    "/farms/{farm_id}/changes",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_farm_changes",
    summary="List what was changed at a farm",
    description="Who changed what, when, through which entrance, with the values before and after,"
    " the newest first, page by page. Follow `next` until it is absent. Entries are never changed"
    " or deleted. What the service does by itself, such as evening runs, is not among them.",
    response_model=ChangePageOut,
    response_model_exclude_none=False,
    responses=list_answers("A page of changes.", CHANGE_PAGE),
)
def list_farm_changes(
    farm_id: FarmId,
    request: Request,
    service: TheService,
    query: Annotated[ChangesQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """A page of changes; the cursor names the last one of the page before."""
    found = read_audit(
        farm_id,
        count=query.size,
        older_than=query.after_key,
        subjects=() if query.subject is None else (query.subject,),
        about=() if query.block is None else ((None, query.block),),
        between=(query.since, query.until),
        unit_of_work=service.unit_of_work,
    )
    page = ChangePageOut(
        items=[ChangeOut.from_record(each) for each in found.entries],
        next=next_address(request, found.entries[-1].entry_key) if found.has_more else None,
    )
    return conditional_response(page, if_none_match)


@router.get(
    "/changes",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="follow_changes",
    summary="Follow changes from a cursor on",
    description="All changes that the key may see, in the order of time: of its farm, or with a key"
    " for the region of every farm and of none. Keep `next` and ask it again for what is new.",
    response_model=ChangeFeedOut,
    responses=list_answers("Changes.", CHANGE_FEED),
)
def follow_changes(
    service: TheService,
    caller: TheCaller,
    query: Annotated[PageQuery, Query()],
    pages: ThePages,
) -> Response:
    """The changes after the one that the cursor names."""
    found = follow_audit(
        caller.farm_id,
        after=query.after_key or 0,
        count=query.size,
        unit_of_work=service.unit_of_work,
    )
    return pages.feed(
        found.entries,
        ChangeFeedOut,
        place_of=lambda each: str(each.entry_key),
        show=ChangeOut.from_record,
        has_more=found.has_more,
    )
