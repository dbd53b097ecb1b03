"""Plans: what to run on a day, and why."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.dependencies import BlockId, TheService
from service.api.examples import EXPLANATION, PLAN
from service.api.problems import INVALID_REQUEST, NOT_FOUND, PLAN_NOT_FOUND
from service.api.schemas.explanations import ExplanationOut
from service.api.schemas.plans import PlanOut
from service.api.schemas.queries import PlanQuery
from service.operations import read_plans

router = APIRouter(tags=["plans"])


@router.get(
    "/blocks/{block_id}/plan",
    operation_id="get_plan",
    summary="Get a block's plan",
    description="The plan in force for a local day: pulses with local and absolute times, totals,"
    " status, flags and causes in words, the coming days, and the weather behind it. Plans are made"
    " in the evening for the next day and may be replaced by a later version; poll with"
    " `If-None-Match`.",
    response_model=PlanOut,
    responses={
        200: described("The plan.", PLAN, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, PLAN_NOT_FOUND, INVALID_REQUEST),
    },
)
def get_plan(
    block_id: BlockId,
    service: TheService,
    query: Annotated[PlanQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The plan, or 304 where the caller holds it."""
    view = read_plans.get_plan(block_id, day=query.day, unit_of_work=service.unit_of_work)
    return conditional_response(PlanOut.from_view(view), if_none_match)


@router.get(
    "/blocks/{block_id}/why",
    operation_id="explain_plan",
    summary="Explain a block's plan",
    description="The steps from the weather to the minutes with the numbers put in, each with its"
    " source, and the weather table with flags and origins of every value.",
    response_model=ExplanationOut,
    responses={
        200: described("The reasoning.", EXPLANATION, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, PLAN_NOT_FOUND, INVALID_REQUEST),
    },
)
def explain_plan(
    block_id: BlockId,
    service: TheService,
    query: Annotated[PlanQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The reasoning, or 304 where the caller holds it."""
    found = read_plans.explain(block_id, day=query.day, unit_of_work=service.unit_of_work)
    return conditional_response(ExplanationOut.from_record(found), if_none_match)
