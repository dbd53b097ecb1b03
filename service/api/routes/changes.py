"""The record of changes: of a farm, the newest first, and of all that a caller sees, in order."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.audit_examples import CHANGE_FEED, CHANGE_PAGE
from service.api.dependencies import FarmId, TheService
from service.api.paging import next_address
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
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
    responses={
        200: described("A page of changes.", CHANGE_PAGE, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
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
        since=query.since,
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
    responses={
        200: described("Changes.", CHANGE_FEED, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def follow_changes(
    request: Request,
    service: TheService,
    caller: TheCaller,
    query: Annotated[PageQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The changes after the one that the cursor names."""
    after = query.after_key or 0
    found = follow_audit(
        caller.farm_id, after=after, count=query.size, unit_of_work=service.unit_of_work
    )
    last = found.entries[-1].entry_key if found.entries else after
    feed = ChangeFeedOut(
        items=[ChangeOut.from_record(each) for each in found.entries],
        next=next_address(request, last),
        has_more=found.has_more,
    )
    return conditional_response(feed, if_none_match)
