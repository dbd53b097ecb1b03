"""Counties: their water need side by side."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import VARY, described, problems
from service.api.change_examples import COUNTY_NEED, COUNTY_NEED_CSV
from service.api.county_desk import CountyAnswer, CountyDesk
from service.api.county_need import county_need, reference_asked
from service.api.dependencies import TheService
from service.api.negotiation import wants_csv
from service.api.once import NO_STORE
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.counties import CountyNeedOut, CountyWeekOut, DepthOut
from service.api.schemas.queries import CountyNeedQuery
from service.delivery.table_file import csv_bytes

router = APIRouter(tags=["counties"])


@router.get(
    "/counties/water-need",
    dependencies=[needs(Right.ADVISER)],
    operation_id="compare_counties",
    summary="Compare the water need of counties",
    description="What one reference block needs in each county, week by week: reference ET, crop "
    "water use, rain, net and gross need, hours on the reference system, normals, rank, what the "
    "figures rest on, and the age of the weather. `week=next&crop=blueberry` is a whole question: "
    "a `crop` has the farm file's defaults and a season, an estimate unless it is given. The "
    "reference may also be a stored `block` (for keys that may read its plans). Each week starts "
    "with a full root zone. Coming days use their forecast, and after it the season's normal. "
    "Figures are kept for up to ten minutes, as long as no weather changes. JSON, or CSV for "
    "`Accept: text/csv`.",
    response_model=CountyNeedOut,
    responses={
        200: described("The counties.", COUNTY_NEED, csv_example=COUNTY_NEED_CSV),
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def compare(
    request: Request,
    service: TheService,
    caller: TheCaller,
    query: Annotated[CountyNeedQuery, Query()],
) -> Response:
    """The comparison of some weeks."""
    desk: CountyDesk = request.app.state.county_desk
    is_csv = wants_csv(request)
    block = reference_asked(service, query, caller)

    def work_out() -> CountyAnswer:
        need = county_need(desk, service, query, block)
        if is_csv:
            return CountyAnswer(_as_csv(need.items), "text/csv; charset=utf-8")
        return CountyAnswer(need.model_dump_json().encode(), "application/json")

    if block is not None:  # whose definition may change without counties or weather doing so
        answer = work_out()
    else:
        answer = desk.answer(service, (query.model_dump_json(), is_csv), work_out)
    return Response(answer.body, media_type=answer.media_type, headers={**NO_STORE, "Vary": VARY})


_LATER_COLUMNS = (
    "rain_observed_until", "site_id", "rests_on", "days_measured", "days_forecast",
    "days_stand_in", "days_unknown", "forecast_issued_at", "sources", "normal_reference_et_mm",
    "normal_net_need_mm", "net_need_p10_mm", "net_need_p50_mm", "net_need_p90_mm", "why_null",
)  # fmt: skip
"""Columns that came later, and stand last so that those before stay where they were."""


def _as_csv(items: list[CountyWeekOut]) -> bytes:
    plain = [
        name
        for name in CountyWeekOut.model_fields
        if not name.endswith("_need") and name not in _LATER_COLUMNS
    ]
    depths = list(DepthOut.model_fields)
    needs = [f"{need}_{unit}" for need in ("net_need", "gross_need") for unit in depths]
    header = [*plain, *needs, *_LATER_COLUMNS]
    return csv_bytes(
        header,
        (
            [
                *(getattr(item, name) for name in plain),
                *(getattr(item.net_need, unit) for unit in depths),
                *(getattr(item.gross_need, unit) for unit in depths),
                *(_cell(getattr(item, name)) for name in _LATER_COLUMNS),
            ]
            for item in items
        ),
    )


def _cell(value: object) -> object:
    """A value as one cell: a list in words."""
    if not isinstance(value, list):
        return value
    return "; ".join(each.in_words() for each in value)
