"""Rain gauges read by hand."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import described, problems
from service.api.change_examples import RAIN, RAIN_DONE
from service.api.dependencies import SLUG_PATTERN, TheService
from service.api.once import TheOnce, answered_once
from service.api.rain_report import book_rain
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import RainIn
from service.api.schemas.feedback import RainOut

SiteId = Annotated[
    str,
    Path(
        pattern=SLUG_PATTERN,
        description="Site whose gauge was read: small letters, digits and hyphens.",
        examples=["home"],
    ),
]
router = APIRouter(tags=["feedback"])


@router.post(
    "/gauges/{site_id}/readings",
    dependencies=[needs(Right.WATER_WRITE)],
    operation_id="report_rain",
    summary="Report a rain gauge reading",
    description="Rain read by hand. It covers the time since the last reading and is booked to "
    "those local days; balances and plans are updated before the answer. The gauge is that of the "
    "key's farm, and its rain counts for that farm's blocks alone. A key of the region reports for "
    "`farm_id`, for the one farm that uses the site, or, with the scope `adviser`, for the site "
    "itself, which counties and farms without a gauge draw on. A different "
    "amount for the same time corrects the reading and needs a reason in `note`; an unlikely "
    "amount must be confirmed.",
    response_model=RainOut,
    responses={200: described("How it was booked.", RAIN_DONE), **problems(*REPORT_PROBLEMS)},
    openapi_extra={"requestBody": {"content": {"application/json": {"example": RAIN}}}},
)
def report_rain(
    site_id: SiteId, body: RainIn, service: TheService, caller: TheCaller, once: TheOnce
) -> Response:
    """Store the reading once."""
    return answered_once(
        once, lambda unit: book_rain(unit, site_id, body, caller=caller, service=service), service
    )
