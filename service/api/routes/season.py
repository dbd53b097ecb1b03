"""The season calendar of a farm: what is to be tested, opened, fed and drained, and when."""

from __future__ import annotations

from fastapi import APIRouter, Response

from service.api import season_examples as examples
from service.api.access import Right, needs
from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.dependencies import FarmId, TheService
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.season import SeasonOut
from service.operations.reading.read_farms import get_farms_today
from service.operations.season.plan_season import plan_season

router = APIRouter(tags=["season"])


@router.get(
    "/farms/{farm_id}/season",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="get_season",
    summary="Get a farm's season calendar",
    description="The dated tasks of the coming twelve months: leaf, petiole, soil and water"
    " samples, start-up, catch test, acid and nitrogen windows, sulfur with its new tests, end of"
    " the season and winter. Equal tasks of several blocks are one. It follows from each block's"
    " crop, place, watering season and tests, and each task names its source; a client must show"
    " `cautions`.",
    response_model=SeasonOut,
    responses={
        200: described("The tasks.", examples.SEASON, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def get_season(farm_id: FarmId, service: TheService, if_none_match: IfNoneMatch = None) -> Response:
    """The tasks as of today, or 304 if the caller already has them."""
    found = plan_season(
        farm_id,
        on=get_farms_today(farm_id, unit_of_work=service.unit_of_work, clock=service.clock),
        unit_of_work=service.unit_of_work,
    )
    return conditional_response(SeasonOut.from_record(found), if_none_match)
