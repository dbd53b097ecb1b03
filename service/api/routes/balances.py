"""Balances: the ledger of a block's root zone, day by day."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, needs
from service.api.answers import (
    NOT_MODIFIED,
    IfNoneMatch,
    conditional_response,
    described,
    problems,
    tagged_response,
)
from service.api.balance_examples import BALANCE_CSV
from service.api.csv_answer import csv_bytes
from service.api.dependencies import BlockId, TheService
from service.api.examples import BALANCE
from service.api.negotiation import wants_csv
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.balances import BalanceOut
from service.api.schemas.queries import BalanceQuery
from service.operations.reading.read_balance import TABLE_COLUMNS, read_balance, table_rows

router = APIRouter(tags=["balances"])
_ANSWER: dict[str, Any] = described("The days.", BALANCE, is_conditional=True)
_ANSWER["content"]["text/csv"] = {"schema": {"type": "string"}, "example": BALANCE_CSV}


@router.get(
    "/blocks/{block_id}/balance",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_balance",
    summary="Get a block's water balance",
    description="The block's ledger for up to 400 days after the first: water in, crop use, "
    "losses, the depletion at the start and end of each day, and the depletion from which on the "
    "block gets water. JSON, or CSV for `Accept: text/csv`.",
    response_model=BalanceOut,
    responses={200: _ANSWER, **NOT_MODIFIED, **problems(NOT_FOUND, INVALID_REQUEST)},
)
def get_balance(
    request: Request,
    block_id: BlockId,
    service: TheService,
    query: Annotated[BalanceQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The ledger of a span, or 304 if the caller already has it."""
    balance = read_balance(
        block_id,
        first_day=query.first_day,
        last_day=query.last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if wants_csv(request):
        table = csv_bytes(TABLE_COLUMNS, table_rows(balance))
        return tagged_response(table, if_none_match, media_type="text/csv; charset=utf-8")
    return conditional_response(BalanceOut.from_record(balance), if_none_match)
