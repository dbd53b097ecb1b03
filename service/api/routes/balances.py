"""Balances: the ledger of a block's root zone, day by day."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import BlockId, TheService
from service.api.examples import BALANCE
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.balances import BalanceOut
from service.api.schemas.queries import BalanceQuery
from service.operations.reading import read_plans

router = APIRouter(tags=["balances"])


@router.get(
    "/blocks/{block_id}/balance",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_balance",
    summary="Get a block's water balance",
    description="The block's ledger for up to 400 days after the first: water in, crop use, "
    "losses, and the depletion at the start and end of each day.",
    responses={
        200: described("The days.", BALANCE),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_balance(
    block_id: BlockId, service: TheService, query: Annotated[BalanceQuery, Query()]
) -> BalanceOut:
    """The ledger of a span."""
    first_day, last_day = read_plans.balance_span(
        block_id,
        query.first_day,
        query.last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    rows = read_plans.read_balance(
        block_id, first_day=first_day, last_day=last_day, unit_of_work=service.unit_of_work
    )
    return BalanceOut.from_rows(block_id, rows, first_day=first_day, last_day=last_day)
