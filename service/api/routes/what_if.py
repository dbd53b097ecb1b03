"""Questions about the coming week: what would change if something were otherwise."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Query

from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.dependencies import FarmId, TheService
from service.api.problem_types import CONFLICT, INVALID_REQUEST, NOT_FOUND
from service.api.schemas.what_if import WhatIfOut, WhatIfQuery
from service.api.what_if_example import WHAT_IF
from service.operations.review.what_if import what_if

router = APIRouter(tags=["plans"])


@router.get(
    "/farms/{farm_id}/what-if",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="compare_coming_week",
    summary="Ask what would change in the coming week",
    description="The evening is run twice over the farm as it is today, with what is stored and"
    " with the change in its place: the pulses of tomorrow for all blocks of every supply, then the"
    " days after it. Several changes may be combined. Nothing is stored. With other emitters the"
    " water that is missing today stays the same.",
    responses={
        200: described("Every block, now and with the change.", WHAT_IF),
        **problems(NOT_FOUND, INVALID_REQUEST, CONFLICT),
    },
)
def ask(farm_id: FarmId, service: TheService, query: Annotated[WhatIfQuery, Query()]) -> WhatIfOut:
    """The coming week of a farm, twice."""
    change = replace(
        service.farm_format.change(query.texts),
        supply_id=query.supply,
        block_id=query.block,
        pump_down_days_count=query.pump_down_days_count,
        skips_tomorrow=query.skip_tomorrow,
    )
    week = what_if(
        farm_id,
        change,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    return WhatIfOut.from_record(week)
