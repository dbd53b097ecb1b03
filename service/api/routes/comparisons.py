"""Comparisons: a past season of a block under a rule of thumb, a timer and the daily plan."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query

from service.api.access import Right, needs
from service.api.answers import described, problems
from service.api.comparison_examples import COMPARISON
from service.api.dependencies import BlockId, TheService
from service.api.problem_types import CONFLICT, INVALID_REQUEST, NOT_FOUND
from service.api.schemas.comparisons import ComparisonOut, ProgramTotalOut, ProgramYearOut
from service.api.schemas.queries import ComparisonQuery
from service.operations.review.compare_block import compare_block
from service.records.comparison import total_of_years, whole_programs

router = APIRouter(tags=["balances"])


@router.get(
    "/blocks/{block_id}/comparison",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="compare_programs",
    summary="Compare a block's past season with a rule of thumb",
    description="The measured weather of the block's site is run again under several programs: the"
    " rule, a timer set once a week, the daily plan, the daily plan had every evening known the"
    " next day, and what was run, as far as that is known. Up to three years; takes seconds, one at"
    " a time.",
    responses={
        200: described("The years.", COMPARISON),
        **problems(NOT_FOUND, INVALID_REQUEST, CONFLICT),
    },
)
def compare(
    block_id: BlockId, service: TheService, query: Annotated[ComparisonQuery, Query()]
) -> ComparisonOut:
    """The years of a block."""
    years = compare_block(
        block_id,
        span=(query.first_day, query.last_day),
        against=service.farm_format.against(
            query.rule,
            days_a_week=query.days_a_week,
            water_price=query.water_price,
            nitrogen=query.nitrogen,
        ),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    return ComparisonOut(
        block_id=block_id,
        items=[ProgramYearOut.from_record(each) for each in years],
        totals=[
            ProgramTotalOut.from_record(total_of_years(years, program))
            for program in whole_programs(years)
        ],
    )
