"""What weighing the forecast would have done in a block, on paper."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.agronomy.risk_attitude import attitude_name, attitude_named
from service.api.access import Right, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.dependencies import BlockId, TheService
from service.api.problem_types import (
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
)
from service.api.risk_trial_example import CHOSEN, RISK_TRIAL
from service.api.schemas.risk_trials import (
    RiskAttitudeIn,
    RiskAttitudeOut,
    RiskTrialOut,
    RiskTrialQuery,
)
from service.operations.farms.choose_attitude import choose_attitude
from service.operations.reading.read_risk_trial import read_risk_trial, trial_document

router = APIRouter(tags=["balances"])


@router.get(
    "/blocks/{block_id}/risk-trial",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_risk_trial",
    summary="Read what weighing the forecast would have done",
    description="For a block whose grower made no choice of `risk_attitude`, each evening keeps"
    " what `balanced` and the evening rule would give, and what came of it with the weather as it"
    " was. Both are on paper, each from its own soil, whatever was run. Kept for 400 days.",
    response_model=RiskTrialOut,
    responses={
        200: described("The days on paper and their sums.", RISK_TRIAL, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_risk_trial(
    block_id: BlockId,
    service: TheService,
    query: Annotated[RiskTrialQuery, Query()],
    if_none_match: IfNoneMatch = None,
) -> Response:
    """The days of a block, or 304 if the caller already has them."""
    found = read_risk_trial(
        block_id,
        first_day=query.first_day,
        last_day=query.last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    return conditional_response(RiskTrialOut.model_validate(trial_document(found)), if_none_match)


@router.put(
    "/blocks/{block_id}/risk-attitude",
    dependencies=[needs(Right.FARM_WRITE)],
    operation_id="use_risk_attitude",
    summary="Choose what a block does with the forecast",
    description="The block gets a new version from today on and coming plans follow at once."
    " `classic`, once chosen, stays: nothing is turned on there. The same choice again changes"
    " nothing.",
    responses={
        200: described("What was chosen.", CHOSEN),
        **problems(MALFORMED_JSON, NOT_FOUND, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, INVALID_REQUEST),
    },
    openapi_extra={
        "requestBody": {"content": {"application/json": {"example": {"risk_attitude": "balanced"}}}}
    },
)
def use_risk_attitude(
    block_id: BlockId, body: RiskAttitudeIn, service: TheService
) -> RiskAttitudeOut:
    """State it."""
    with service.unit_of_work(write=True) as unit:
        block, count = choose_attitude(
            unit, block_id, attitude_named(body.risk_attitude), replanning=service.replanning
        )
    return RiskAttitudeOut(
        block_id=block.block_id,
        risk_attitude=attitude_name(block.risk_attitude),
        is_stated=block.has_stated_attitude,
        new_plan_count=count,
    )
