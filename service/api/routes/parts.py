"""The parts of a block's drip system and their order along the pipe."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.api import parts_examples as examples
from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import BlockId, TheService
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.parts import PartsOut, PartsQuery
from service.operations.reading.read_farms import get_today
from service.operations.season.note_visits import last_visit
from service.operations.waterworks import list_parts as listing

router = APIRouter(tags=["waterworks"])


@router.get(
    "/blocks/{block_id}/parts",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_parts",
    summary="List the parts of a block's drip system",
    description="Drip line, emitters, header, fittings, filter, regulators, valves and injectors of"
    " a block, their order along the pipe, and checklists. Counted from the block, its pipes where"
    " they are described, its supply and the newest water analysis. The kind of the backflow"
    " preventer is left to local code. Notes of the last visit come along. A client must show"
    " `cautions`.",
    responses={
        200: described("The list.", examples.PARTS),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_parts(
    block_id: BlockId, service: TheService, query: Annotated[PartsQuery, Query()]
) -> PartsOut:
    """The list as of today."""
    return PartsOut.from_record(
        listing.list_parts(
            block_id,
            query.request(),
            on=get_today(block_id, unit_of_work=service.unit_of_work, clock=service.clock),
            unit_of_work=service.unit_of_work,
        ),
        last_visit(block_id, unit_of_work=service.unit_of_work),
    )
