"""The emitter flow of a block by its meter: offered, and accepted."""

from __future__ import annotations

from fastapi import APIRouter

from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.change_examples import RATE, RATE_USED
from service.api.dependencies import BlockId, TheService
from service.api.problem_types import (
    CONFLICT,
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
)
from service.api.schemas.rates import RateIn, RateOut
from service.operations.waterworks.learn_rate import get_rate_offer, use_rate

router = APIRouter(tags=["waterworks"])
_BODY = {"emitter_flow_l_per_h": RATE["offered_l_per_h"]}


@router.get(
    "/blocks/{block_id}/emitter-flow",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_emitter_flow",
    summary="Read a block's emitter flow by its meter",
    description="The median rate of the block's latest metered runs against the emitter flow that"
    " its plans use. It is offered for coming plans where it surely differs, and no change of the"
    " flow waits to be looked at.",
    responses={200: described("The rate.", RATE), **problems(NOT_FOUND, INVALID_REQUEST)},
)
def get_emitter_flow(block_id: BlockId, service: TheService) -> RateOut:
    """What the meter says."""
    return RateOut.from_record(
        get_rate_offer(block_id, unit_of_work=service.unit_of_work, clock=service.clock)
    )


@router.put(
    "/blocks/{block_id}/emitter-flow",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="use_emitter_flow",
    summary="Plan with the emitter flow that the meter shows",
    description="Takes the flow that is offered, or the stated one to go back to it; any other is a"
    " conflict. The block gets a new version from today on, whose origin names the flow before and"
    " the day, and coming plans follow at once. The same flow again changes nothing.",
    responses={
        200: described("The rate after it.", RATE_USED),
        **problems(
            MALFORMED_JSON, NOT_FOUND, CONFLICT, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, INVALID_REQUEST
        ),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": _BODY}}}},
)
def use_emitter_flow(block_id: BlockId, body: RateIn, service: TheService) -> RateOut:
    """Accept it."""
    with service.unit_of_work(write=True) as unit:
        offer, count = use_rate(
            unit, block_id, body.emitter_flow_l_per_h, replanning=service.replanning
        )
    return RateOut.from_record(offer, count)
