"""How good the forecasts at a site were."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.dependencies import SLUG_PATTERN, TheService
from service.api.forecast_quality_example import FORECAST_QUALITY
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.forecast_quality import ForecastQualityOut, ForecastQualityQuery
from service.operations.weather.read_forecast_quality import read_forecast_quality

router = APIRouter(tags=["lists"])


@router.get(
    "/sites/{site_id}/forecast-quality",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="assess_forecast_quality",
    summary="Read how good the forecasts at a site were",
    description="What each source forecast in the last half year, as it was issued on the evening"
    " before and up to seven evenings before, held against what was observed: against a gauge, a"
    " station or a file where there is one, else against a model's analysis, which is said. Days"
    " are civil days of the site. Scores are given from 30 pairs on; what they are limited by is"
    " flagged and never corrected.",
    responses={
        200: described("The sources of the site.", FORECAST_QUALITY),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def show_forecast_quality(
    site_id: Annotated[str, Path(pattern=SLUG_PATTERN, description="Site.", examples=["hill"])],
    service: TheService,
    caller: TheCaller,
    query: Annotated[ForecastQualityQuery, Query()],
) -> ForecastQualityOut:
    """The sources of a site."""
    (found,) = read_forecast_quality(
        [site_id],
        caller.farm_asked(query.farm),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    return ForecastQualityOut.from_record(found)
