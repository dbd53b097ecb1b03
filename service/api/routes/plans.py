"""Plans: what to run on a day, and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, needs
from service.api.answers import (
    NOT_MODIFIED,
    SHEET_WORDS,
    IfNoneMatch,
    conditional_response,
    described,
    problems,
    spreadsheet_response,
    tagged_response,
)
from service.api.dependencies import BlockId, FarmId, TheService
from service.api.examples import EXPLANATION, FARM_PLANS, PLAN, PLAN_CSV
from service.api.negotiation import wants_csv, wants_spreadsheet
from service.api.plan_documents import PlanDocuments
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND, PLAN_NOT_FOUND
from service.api.program import document_response
from service.api.schemas.explanations import ExplanationOut
from service.api.schemas.plans import (
    PLAN_CSV_COLUMNS,
    FarmPlanOut,
    FarmPlansOut,
    PlanOut,
    plan_csv_rows,
)
from service.api.schemas.queries import PlanQuery
from service.delivery.table_file import csv_bytes
from service.errors import PlanNotFound
from service.operations.evening.plan_texts import read_plan_text
from service.operations.exports.run_tables import plan_table
from service.operations.reading import read_plans
from service.operations.reading.read_farms import list_farms
from service.operations.reading.read_plans import PlanView

router = APIRouter(tags=["plans"])


@router.get(
    "/blocks/{block_id}/plan",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_plan",
    summary="Get a block's plan",
    description="The current plan for a local day: pulses with local and absolute times, totals, "
    "status, flags and causes in words, the coming days, and the weather behind it. "
    "Plans are made in the evening for the next day and may be replaced by a later "
    "version; poll with `If-None-Match`. JSON, or for `Accept: text/csv` the pulses "
    "as a table.",
    response_model=PlanOut,
    responses={
        200: described("The plan.", PLAN, csv_example=PLAN_CSV, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, PLAN_NOT_FOUND, INVALID_REQUEST),
    },
)
def get_plan(
    block_id: BlockId,
    request: Request,
    service: TheService,
    query: Annotated[PlanQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The plan, or 304 if the caller already has it; cached for later requests."""
    documents: PlanDocuments = request.app.state.plan_documents
    if wants_csv(request):
        view = read_plans.get_plan(block_id, day=query.day, unit_of_work=service.unit_of_work)
        return _csv_response([view], if_none_match)
    generation = documents.generation
    plan = read_plan_text(block_id, day=query.day, unit_of_work=service.unit_of_work)
    document = documents.keep(block_id, request.scope["query_string"], plan, generation=generation)
    return document_response(document, if_none_match)


@router.get(
    "/blocks/{block_id}/why",
    dependencies=[needs(Right.PLAN_READ)],
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
    """The reasoning, or 304 if the caller already has it."""
    found = read_plans.explain(block_id, day=query.day, unit_of_work=service.unit_of_work)
    return conditional_response(ExplanationOut.from_record(found), if_none_match)


@router.get(
    "/farms/{farm_id}/plans",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_farm_plans",
    summary="List a farm's plans for a day",
    description="The current plans of all blocks of a farm for a local day, in brief. JSON, or "
    "for `Accept: text/csv` one row per pulse; or a spreadsheet.",
    response_model=FarmPlansOut,
    responses={
        200: described(
            "The plans.",
            FARM_PLANS,
            csv_example=PLAN_CSV,
            is_spreadsheet=True,
            is_conditional=True,
        ),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, PLAN_NOT_FOUND, INVALID_REQUEST),
    },
)
def list_farm_plans(
    farm_id: FarmId,
    request: Request,
    service: TheService,
    query: Annotated[PlanQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The plans, or 304 if the caller already has them."""
    views = read_plans.list_plans(day=query.day, farm_id=farm_id, unit_of_work=service.unit_of_work)
    if not views:
        raise PlanNotFound(f"no plan of farm {farm_id} for {query.day or 'any day'}")
    if wants_spreadsheet(request):
        (farm,) = list_farms([farm_id], unit_of_work=service.unit_of_work)
        table = plan_table(views, farm, SHEET_WORDS)
        return spreadsheet_response(table, if_none_match)
    if wants_csv(request):
        return _csv_response(views, if_none_match)
    return conditional_response(FarmPlansOut.from_views(farm_id, views), if_none_match)


def _csv_response(views: Sequence[PlanView], if_none_match: str | None) -> Response:
    table = csv_bytes(
        PLAN_CSV_COLUMNS,
        (
            row
            for view in views
            for row in plan_csv_rows(FarmPlanOut.from_view(view), view.plan.day)
        ),
    )
    return tagged_response(table, if_none_match, media_type="text/csv; charset=utf-8")
