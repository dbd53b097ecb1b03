"""Blocks: the list, and one in full."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.block_examples import BLOCK_PAGE
from service.api.dependencies import BlockId, TheService
from service.api.examples import BLOCK
from service.api.number_examples import BLOCK_NUMBERS
from service.api.paging import ThePages, list_answers
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.blocks import BlockOut, BlockPageOut, BlockSummaryOut
from service.api.schemas.numbers import BlockNumbersOut
from service.api.schemas.queries import BlockListQuery, BlockQuery
from service.operations.farms.change_farms import get_block_now, list_blocks_now
from service.operations.reading import read_plans
from service.operations.reading.block_numbers import block_numbers

router = APIRouter(tags=["blocks"])


@router.get(
    "/blocks",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_blocks",
    summary="List blocks",
    description="Blocks in use on a day, by id, page by page. Follow `next` until it is absent.",
    response_model=BlockPageOut,
    responses=list_answers("A page of blocks.", BLOCK_PAGE),
)
def list_blocks(
    service: TheService,
    caller: TheCaller,
    query: Annotated[BlockListQuery, Query()],
    pages: ThePages,
) -> Response:
    """A page of blocks; the cursor names the last block of the page before."""
    farm_id = caller.farm_asked(query.farm)
    blocks = (
        list_blocks_now(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)
        if query.day is None
        else read_plans.list_blocks(
            farm_id=farm_id, day=query.day, unit_of_work=service.unit_of_work
        )
    )
    return pages.answer(
        blocks,
        query,
        BlockPageOut,
        name_of=lambda each: each.block_id,
        show=BlockSummaryOut.from_record,
    )


@router.get(
    "/blocks/{block_id}",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_block",
    summary="Get a block",
    description="A block as of a day: every number that plans are computed with, and where each "
    "one comes from.",
    response_model=BlockOut,
    responses={
        200: described("The block.", BLOCK, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_block(
    block_id: BlockId,
    service: TheService,
    query: Annotated[BlockQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """One block in full, or 304 if the caller already has it."""
    if query.day is None:
        block = get_block_now(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    else:
        block = read_plans.get_block(block_id, day=query.day, unit_of_work=service.unit_of_work)
    return conditional_response(BlockOut.from_record(block), if_none_match)


@router.get(
    "/blocks/{block_id}/numbers",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_block_numbers",
    summary="Get a block's numbers with their sources",
    description="Every number of a block as it is today: those derived from others, such as the"
    " water that its root zone holds or the longest pulse, and those given or taken as a default."
    " Each says where it is from.",
    response_model=BlockNumbersOut,
    responses={
        200: described("The numbers.", BLOCK_NUMBERS, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_block_numbers(
    block_id: BlockId, service: TheService, if_none_match: IfNoneMatch = None
) -> Response:
    """The numbers, or 304 if the caller already has them."""
    found = block_numbers(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    return conditional_response(BlockNumbersOut.from_record(found), if_none_match)
