"""Counties: their water need side by side."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Right, TheCaller, needs
from service.api.answers import (
    NOT_MODIFIED,
    VARY,
    IfNoneMatch,
    described,
    problems,
    tagged_response,
)
from service.api.boundary_examples import BOUNDARIES, BOUNDARY_FILE, BOUNDARY_IMPORT
from service.api.change_examples import COUNTY_NEED, COUNTY_NEED_CSV
from service.api.county_desk import CountyAnswer, CountyDesk
from service.api.county_need import county_need, county_sheet, reference_asked
from service.api.dependencies import TheService
from service.api.negotiation import CSV, JSON, SHEETS, form_wanted
from service.api.once import NO_STORE
from service.api.problem_types import (
    INVALID_REQUEST,
    MALFORMED_JSON,
    NOT_FOUND,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
)
from service.api.schemas.boundaries import (
    BoundariesIn,
    BoundariesQuery,
    BoundaryImportOut,
    CountyBoundariesOut,
)
from service.api.schemas.counties import CountyNeedOut, CountyWeekOut, DepthOut
from service.api.schemas.queries import CountyNeedQuery
from service.delivery.table_file import XLSX_TYPE, csv_bytes, xlsx_file
from service.errors import NotFound
from service.operations.reading.read_farms import list_counties
from service.operations.review.import_boundaries import find_boundaries, import_document

BOUNDARIES_PATH = "/v1/counties/boundaries"
"""Where a large document is taken."""
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
    "Figures are kept for up to ten minutes, as long as no weather changes. JSON, CSV for "
    "`Accept: text/csv`, or a spreadsheet.",
    response_model=CountyNeedOut,
    responses={
        200: described(
            "The counties.", COUNTY_NEED, csv_example=COUNTY_NEED_CSV, is_spreadsheet=True
        ),
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
    form = form_wanted(request, SHEETS)
    block = reference_asked(service, query, caller)

    def work_out() -> CountyAnswer:
        if form == XLSX_TYPE:
            return CountyAnswer(xlsx_file(county_sheet(desk, service, query, block)), XLSX_TYPE)
        need = county_need(desk, service, query, block)
        if form == CSV:
            return CountyAnswer(_as_csv(need.items), "text/csv; charset=utf-8")
        return CountyAnswer(need.model_dump_json().encode(), "application/json")

    if block is not None:  # whose definition may change without counties or weather doing so
        answer = work_out()
    else:
        answer = desk.answer(service, (query.model_dump_json(), form), work_out)
    return Response(answer.body, media_type=answer.media_type, headers={**NO_STORE, "Vary": VARY})


GEOJSON = "application/geo+json"
_BOUNDARY_FORMS = (JSON, GEOJSON)


@router.get(
    "/counties/boundaries",
    dependencies=[needs(Right.ADVISER)],
    operation_id="get_county_boundaries",
    summary="Get county boundaries",
    description="The outlines of the counties as GeoJSON (RFC 7946), as the operator imported them"
    " and simplified to what a map on a page shows; neighbors share their border. `county_code`"
    " joins them to `/v1/counties/water-need`. As `application/json`, or the same as"
    " `application/geo+json`.",
    response_model=CountyBoundariesOut,
    responses={
        200: {
            **described("The boundaries.", BOUNDARIES, is_conditional=True),
            "content": {
                JSON: {"example": BOUNDARIES},
                GEOJSON: {
                    "schema": {"$ref": "#/components/schemas/CountyBoundariesOut"},
                    "example": BOUNDARIES,
                },
            },
        },
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    },
)
def show_boundaries(
    request: Request, service: TheService, if_none_match: IfNoneMatch = None
) -> Response:
    """The boundaries, or 304 if the caller already has them."""
    boundaries = find_boundaries(unit_of_work=service.unit_of_work)
    if boundaries is None:
        raise NotFound("no boundaries of counties were imported")
    counties = list_counties(unit_of_work=service.unit_of_work)
    found = CountyBoundariesOut.of(boundaries, counties)
    return tagged_response(
        found.model_dump_json().encode(),
        if_none_match,
        media_type=form_wanted(request, _BOUNDARY_FORMS),
    )


@router.put(
    "/counties/boundaries",
    dependencies=[needs(Right.FARM_WRITE, region_only=True)],
    operation_id="replace_county_boundaries",
    summary="Replace county boundaries",
    description="The boundaries replace those before them, as a whole; with a fault nothing is"
    " stored. For keys of the region. Boundaries of other counties are left out and named, and so"
    " are counties without one. The body is GeoJSON sent as `application/json`, 5 MB at most; the"
    " command `boundaries-import` takes larger files.",
    response_model=BoundaryImportOut,
    responses={
        200: described("What was found.", BOUNDARY_IMPORT),
        **problems(MALFORMED_JSON, TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, NOT_FOUND, INVALID_REQUEST),
    },
    openapi_extra={"requestBody": {"content": {"application/json": {"example": BOUNDARY_FILE}}}},
)
def replace_boundaries(
    body: BoundariesIn,
    service: TheService,
    query: Annotated[BoundariesQuery, Query()],
) -> BoundaryImportOut:
    """Store the boundaries of a document."""
    return BoundaryImportOut.of(
        import_document(
            body.model_dump(),
            name_property=query.name_property,
            source=query.source,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
        )
    )


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
