"""Counties: their water need side by side."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Caller, Right, TheCaller, needs
from service.api.answers import VARY, described, problems
from service.api.change_examples import COUNTY_NEED, COUNTY_NEED_CSV
from service.api.csv_answer import csv_bytes
from service.api.dependencies import TheService
from service.api.negotiation import wants_csv
from service.api.once import NO_STORE
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.counties import CountyNeedOut, CountyWeekOut, DepthOut, ReferenceOut
from service.api.schemas.queries import CountyNeedQuery
from service.bootstrap import Service
from service.errors import Fault, InputInvalid, NotFound
from service.operations.farms.change_farms import get_block_now
from service.operations.review.compare_counties import (
    compare_spans,
    counties_today,
    list_county_sites,
)
from service.records.farms import BlockDefinition, FarmBundle, FarmDefinition, SiteDefinition

router = APIRouter(tags=["counties"])
DAYS_PER_WEEK = 7
_ANSWER: dict[str, Any] = described("The counties.", COUNTY_NEED)
_ANSWER["content"]["text/csv"] = {"schema": {"type": "string"}, "example": COUNTY_NEED_CSV}


@router.get(
    "/counties/water-need",
    dependencies=[needs(Right.ADVISER)],
    operation_id="compare_counties",
    summary="Compare the water need of counties",
    description="What one reference block would have needed in each county, week by week: "
    "reference ET, crop water use, rain, net and gross need, hours on the reference "
    "system, percent of normal, rank, and the age of the weather. The reference is a "
    "stored `block` (for keys that may read its plans), or is made from a `crop` with "
    "the farm file's defaults. Each week starts with a full root zone. JSON, or CSV "
    "for `Accept: text/csv`.",
    response_model=CountyNeedOut,
    responses={200: _ANSWER, **problems(NOT_FOUND, INVALID_REQUEST)},
)
def compare(
    request: Request,
    service: TheService,
    caller: TheCaller,
    query: Annotated[CountyNeedQuery, Query()],
) -> Response:
    """The comparison of some weeks."""
    if (query.block is None) == (query.crop is None):
        raise InputInvalid(
            "the reference is not clear", [Fault("crop", "both or neither", "either crop or block")]
        )
    first_day = _monday(query.week)
    sites = list_county_sites(unit_of_work=service.unit_of_work)
    reference = (
        _readable_block(query.block, service, caller)
        if query.block is not None
        else _block_of_crop(query, service, sites[0])
    )
    on = counties_today(sites, service.clock.now())
    mondays = [first_day + timedelta(days=DAYS_PER_WEEK * week) for week in range(query.weeks)]
    comparisons = compare_spans(
        reference,
        [(monday, monday + timedelta(days=DAYS_PER_WEEK - 1)) for monday in mondays],
        on=on,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    items: list[CountyWeekOut] = []
    for comparison in comparisons:
        year, number, _ = comparison.first_day.isocalendar()
        items += CountyWeekOut.rows_of(comparison, week=f"{year}-W{number:02d}", on=on)
    block = comparisons[0].reference
    headers = {**NO_STORE, "Vary": VARY}
    if wants_csv(request):
        return Response(_as_csv(items), media_type="text/csv; charset=utf-8", headers=headers)
    answer = CountyNeedOut(
        issued_at=service.clock.now(),
        reference=ReferenceOut(
            block_id=query.block,
            crop_key=block.crop_key,
            row_spacing_m=block.row_spacing_m,
            emitter_spacing_m=block.emitter_spacing_m,
            emitter_flow_l_per_h=block.emitter_flow_l_per_h,
            laterals_per_row_count=block.laterals_per_row_count,
        ),
        items=items,
    )
    return Response(
        answer.model_dump_json().encode(), media_type="application/json", headers=headers
    )


def _monday(week: str) -> date:
    try:
        return date.fromisocalendar(int(week[:4]), int(week[6:]), 1)
    except ValueError as error:
        raise InputInvalid(
            "there is no such week", [Fault("week", "another text", "an ISO week such as 2026-W27")]
        ) from error


def _readable_block(block_id: str, service: Service, caller: Caller) -> BlockDefinition:
    """A stored block as of today, if the caller may read it.

    An adviser's key sees counties, not farms.
    """
    if Right.PLAN_READ not in caller.rights or not caller.may_see(block_id.partition(".")[0]):
        raise NotFound(f"block {block_id!r}: there is no such block")
    return get_block_now(block_id, unit_of_work=service.unit_of_work, clock=service.clock)


def _block_of_crop(
    query: CountyNeedQuery, service: Service, site: SiteDefinition
) -> BlockDefinition:
    """A block with the farm file's defaults, at a county's site, of one acre."""
    season: dict[str, object] = {}
    if query.season_start is not None:
        season["start"] = query.season_start
    if query.stage_days is not None:
        season["lengths"] = [int(days) for days in query.stage_days.split(",")]
    bundle = FarmBundle(
        farm=FarmDefinition(farm_id="reference", name="Reference", zone=site.zone), sites=(site,)
    )
    document = {
        **service.farm_format.document(bundle),
        "supply": [{"id": "any", "flow": "100 m3/h"}],
        "block": [
            {
                "id": "block",
                "crop": query.crop,
                "area": "1 ac",
                "row_spacing": query.row_spacing,
                "emitter_spacing": query.emitter_spacing,
                "emitter_flow": query.emitter_flow,
                "laterals_per_row": query.laterals_per_row,
                "soil": {"texture": query.texture},
                "season": season or None,
            }
        ],
    }
    try:
        return service.farm_format.parse(document, below="/block/0").blocks[0]
    except InputInvalid as error:
        raise InputInvalid(
            "the reference block cannot be made",
            [_SEASON if each.where == "/season" else _by_parameter(each) for each in error.faults],
        ) from error


def _by_parameter(fault: Fault) -> Fault:
    """A fault of the reference block, reported at the parameter it comes from."""
    place = next((each for each in _PARAMETERS if fault.where.startswith(each)), "/crop")
    return replace(fault, where=_PARAMETERS[place])


_SEASON = Fault(
    "season_start",
    "no whole season",
    "a month and day such as 03-20 together with stage_days such as 25,45,110,50, the days of the"
    " initial, development, mid and late stage: no stage dates are published for this crop",
)
_PARAMETERS = {
    "/crop": "crop",
    "/row_spacing": "row_spacing",
    "/emitter_spacing": "emitter_spacing",
    "/emitter_flow": "emitter_flow",
    "/laterals_per_row": "laterals_per_row",
    "/soil/texture": "texture",
    "/season/start": "season_start",
    "/season/lengths": "stage_days",
}


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
