"""Balances: the ledger of a block's root zone, day by day, and the water that a farm used."""

from __future__ import annotations

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
from service.api.balance_examples import BALANCE_CSV, FARM_BOARD, WATER_USED, WATER_USED_CSV
from service.api.dependencies import BlockId, FarmId, TheService
from service.api.examples import BALANCE
from service.api.negotiation import wants_csv, wants_spreadsheet
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.balances import BalanceOut
from service.api.schemas.boards import FarmBoardOut
from service.api.schemas.queries import BalanceQuery, WaterUseQuery
from service.api.schemas.water_use import WaterUseOut
from service.delivery.table_file import csv_bytes
from service.operations.exports.water_tables import balance_table, water_table
from service.operations.reading import read_balance as ledgers
from service.operations.reading import water_used as water
from service.operations.reading.farm_board import farm_board
from service.operations.reading.read_farms import list_farms
from service.records.water_use import WaterWish

router = APIRouter(tags=["balances"])


@router.get(
    "/blocks/{block_id}/balance",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_balance",
    summary="Get a block's water balance",
    description="The block's ledger for up to 400 days after the first: water in, crop use, "
    "losses, the depletion at the start and end of each day, and the depletion from which on the "
    "block gets water. JSON, CSV for `Accept: text/csv`, or a spreadsheet.",
    response_model=BalanceOut,
    responses={
        200: described(
            "The days.", BALANCE, csv_example=BALANCE_CSV, is_spreadsheet=True, is_conditional=True
        ),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_balance(
    request: Request,
    block_id: BlockId,
    service: TheService,
    query: Annotated[BalanceQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The ledger of a span, or 304 if the caller already has it."""
    balance = ledgers.read_balance(
        block_id,
        first_day=query.first_day,
        last_day=query.last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if wants_spreadsheet(request):
        (farm,) = list_farms([block_id.partition(".")[0]], unit_of_work=service.unit_of_work)
        return spreadsheet_response(balance_table(balance, farm, SHEET_WORDS), if_none_match)
    if wants_csv(request):
        table = csv_bytes(ledgers.TABLE_COLUMNS, ledgers.table_rows(balance))
        return tagged_response(table, if_none_match, media_type="text/csv; charset=utf-8")
    return conditional_response(BalanceOut.from_record(balance), if_none_match)


@router.get(
    "/farms/{farm_id}/water-used",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_water_used",
    summary="Get the water that a farm used",
    description="The water that left the farm's supplies, added up by month, season, block or"
    " supply, with what it rests on, against a permit or budget where `limit` gives one. JSON,"
    " CSV in SI and US units for `Accept: text/csv`, or a spreadsheet.",
    response_model=WaterUseOut,
    responses={
        200: described(
            "The sums.",
            WATER_USED,
            csv_example=WATER_USED_CSV,
            is_spreadsheet=True,
            is_conditional=True,
        ),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_water_used(
    request: Request,
    farm_id: FarmId,
    service: TheService,
    query: Annotated[WaterUseQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The sums of a span, or 304 if the caller already has them."""
    limit = None if query.limit is None else service.farm_format.water_limit(query.limit)
    wish = WaterWish(
        farm_id=farm_id,
        by=tuple(dict.fromkeys(query.by)),
        first_day=query.first_day,
        last_day=query.last_day,
        supply_id=query.supply,
        limit=limit,
    )
    use = water.water_used(wish, unit_of_work=service.unit_of_work, clock=service.clock)
    if wants_spreadsheet(request):
        (farm,) = list_farms([farm_id], unit_of_work=service.unit_of_work)
        return spreadsheet_response(water_table(use, farm, SHEET_WORDS, {}), if_none_match)
    if wants_csv(request):
        table = csv_bytes(water.table_columns(use), water.table_rows(use))
        return tagged_response(table, if_none_match, media_type="text/csv; charset=utf-8")
    return conditional_response(WaterUseOut.from_record(use), if_none_match)


@router.get(
    "/farms/{farm_id}/board",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_farm_board",
    summary="Get a farm at a glance",
    description="One line a block, the worst first: the water left in its root zone, the day on"
    " which it gets water, the minutes of its plan, and what ran of what was planned in the last"
    " seven days.",
    response_model=FarmBoardOut,
    responses={
        200: described("The blocks.", FARM_BOARD, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_farm_board(
    farm_id: FarmId, service: TheService, if_none_match: IfNoneMatch = None
) -> Response:
    """The board as of today, or 304 if the caller already has it."""
    board = farm_board(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)
    return conditional_response(FarmBoardOut.from_record(board), if_none_match)
