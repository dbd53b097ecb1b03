"""Rain gauges read by hand."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response

from service.api.access import Right, TheCaller, needs, scope_missing
from service.api.answers import described, problems
from service.api.change_examples import RAIN, RAIN_DONE
from service.api.dependencies import SLUG_PATTERN, TheService
from service.api.once import TheOnce, answered_once, reporter_of
from service.api.problems import reported_as
from service.api.routes.runs import REPORT_PROBLEMS
from service.api.schemas.bodies import RainIn
from service.api.schemas.feedback import RainOut
from service.database.session import UnitOfWork
from service.operations.evening.replan_after import replan_for_site
from service.operations.weather.record_rain import GaugeReport, gauge_farm, store_reading

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

    def work(unit: UnitOfWork) -> RainOut:
        farm_id = gauge_farm(unit, site_id, caller.farm_asked(body.farm_id))
        if farm_id is None and Right.ADVISER not in caller.rights:
            raise scope_missing(Right.ADVISER)
        with reported_as({"amount": "/rain_mm"}):
            done = store_reading(
                unit,
                GaugeReport(
                    site_id=site_id,
                    farm_id=farm_id,
                    rain_mm=body.rain_mm,
                    reporter=reporter_of(caller),
                    kind=body.kind,
                    read_at=body.read_at,
                    covers_from=body.covers_from,
                    note=body.note,
                    confirm=body.confirm,
                ),
                source_order=service.source_order,
                clock=service.clock,
            )
        count = replan_for_site(
            unit,
            site_id,
            farm_id=farm_id,
            touched_day=done.first_changed_day,
            replanning=service.replanning,
        )
        return RainOut.from_record(done, count)

    return answered_once(once, work, service)
