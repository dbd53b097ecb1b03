"""The history of the API, for programs that were written against it."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from service.api.access import ANY_KEY
from service.api.answers import IfNoneMatch, conditional_response
from service.api.paging import list_answers
from service.api.schemas.changelog import CHANGELOG_EXAMPLE, ApiChangeOut, ChangelogOut

router = APIRouter(tags=["status"])


@router.get(
    "/changelog",
    dependencies=[ANY_KEY],
    operation_id="get_changelog",
    summary="Get the history of the API",
    description="What was added, changed, deprecated or removed, the newest first. Answers of what"
    " is deprecated carry `Deprecation` (RFC 9745) and `Sunset` (RFC 8594), at least a year apart.",
    response_model=ChangelogOut,
    responses=list_answers("The changes.", CHANGELOG_EXAMPLE),
)
def get_changelog(request: Request, if_none_match: IfNoneMatch = None) -> Response:
    """All changes, or 304 if the caller has them."""
    history = request.app.state.history
    items = [ApiChangeOut.from_record(each) for each in reversed(history)]
    return conditional_response(ChangelogOut(items=items), if_none_match)
