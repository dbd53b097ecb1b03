"""Counties: their water need side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from service.api.access import Caller, Right, TheCaller, needs
from service.api.answers import VARY, described, problems
from service.api.change_examples import COUNTY_NEED, COUNTY_NEED_CSV
from service.api.county_desk import CountyAnswer, CountyDesk
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
    CountyWeather,
    compare_in,
    counties_today,
    list_county_sites,
)
from service.operations.review.reference_block import (
    ReferenceBlock,
    ReferenceSystem,
    reference_block,
)
from service.records.farms import BlockDefinition, SiteDefinition

router = APIRouter(tags=["counties"])
DAYS_PER_WEEK = 7
MOST_NAMED = 5
_ANSWER: dict[str, Any] = described("The counties.", COUNTY_NEED)
_ANSWER["content"]["text/csv"] = {"schema": {"type": "string"}, "example": COUNTY_NEED_CSV}


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
    desk: CountyDesk = request.app.state.county_desk
    is_csv = wants_csv(request)
    if query.block is not None:
        block = _readable_block(query.block, service, caller)
        answer = _answer(desk, service, query, block, is_csv=is_csv)
    else:
        answer = desk.answer(
            service,
            (query.model_dump_json(), is_csv),
            lambda: _answer(desk, service, query, None, is_csv=is_csv),
        )
    return Response(answer.body, media_type=answer.media_type, headers={**NO_STORE, "Vary": VARY})


def _answer(
    desk: CountyDesk,
    service: Service,
    query: CountyNeedQuery,
    block: BlockDefinition | None,
    *,
    is_csv: bool,
) -> CountyAnswer:
    """The figures, for a stored block or for one made of the crop that is asked for."""
    sites = list_county_sites(unit_of_work=service.unit_of_work)
    on = counties_today(sites, service.clock.now())
    first_day = _first_monday(query.week, on)
    mondays = [first_day + timedelta(days=DAYS_PER_WEEK * week) for week in range(query.weeks)]
    spans = tuple((monday, monday + timedelta(days=DAYS_PER_WEEK - 1)) for monday in mondays)
    made = None
    if block is None:
        made = _block_of_crop(query, service, sites[0])
        block = made.block
    weather = desk.weather(service, spans, on=on)
    wanted = _wanted_counties(query.county, weather)
    items = [
        row
        for comparison in compare_in(weather, block)
        for row in CountyWeekOut.rows_of(comparison, week=_week_name(comparison.first_day), on=on)
        if not wanted or row.county_code in wanted
    ]
    if is_csv:
        return CountyAnswer(_as_csv(items), "text/csv; charset=utf-8")
    answer = CountyNeedOut(
        issued_at=service.clock.now(),
        reference=ReferenceOut.of(block, made, block_id=query.block),
        items=items,
    )
    return CountyAnswer(answer.model_dump_json().encode(), "application/json")


def _first_monday(week: str, today: date) -> date:
    """The Monday of the first week that is asked for."""
    this = today - timedelta(days=today.weekday())
    if week == "this":
        return this
    if week == "next":
        return this + timedelta(days=DAYS_PER_WEEK)
    try:
        if "W" in week:
            return date.fromisocalendar(int(week[:4]), int(week[6:]), 1)
        day = date.fromisoformat(week)
    except ValueError as error:
        allowed = "this, next, an ISO week such as 2026-W27, or a day such as 2026-07-01"
        raise InputInvalid("there is no such week", [Fault("week", week, allowed)]) from error
    return day - timedelta(days=day.weekday())


def _week_name(monday: date) -> str:
    year, number, _ = monday.isocalendar()
    return f"{year}-W{number:02d}"


def _wanted_counties(codes: Sequence[str], weather: CountyWeather) -> frozenset[str]:
    known = {county.county_code for county in weather.counties}
    unknown = sorted(set(codes) - known)
    if unknown:
        some = ", ".join(sorted(known)[:MOST_NAMED])
        raise InputInvalid(
            "there is no such county",
            [Fault("county", ", ".join(unknown), f"codes of stored counties, such as {some}")],
        )
    return frozenset(codes)


def _readable_block(block_id: str, service: Service, caller: Caller) -> BlockDefinition:
    """A stored block as of today, if the caller may read it.

    An adviser's key sees counties, not farms.
    """
    if Right.PLAN_READ not in caller.rights or not caller.may_see(block_id.partition(".")[0]):
        raise NotFound(f"block {block_id!r}: there is no such block")
    return get_block_now(block_id, unit_of_work=service.unit_of_work, clock=service.clock)


def _block_of_crop(
    query: CountyNeedQuery, service: Service, site: SiteDefinition
) -> ReferenceBlock:
    """A block with the farm file's defaults, at a county's site."""
    days = None
    if query.stage_days is not None:
        days = [float(each) for each in query.stage_days.split(",")]
    system = ReferenceSystem(
        crop=query.crop or "",
        texture=query.texture,
        row_spacing=query.row_spacing,
        emitter_spacing=query.emitter_spacing,
        emitter_flow=query.emitter_flow,
        laterals_per_row=query.laterals_per_row,
        season_start=query.season_start,
        stage_lengths_day=days,
    )
    try:
        return reference_block(system, site, farm_format=service.farm_format)
    except InputInvalid as error:
        raise InputInvalid(
            "the reference block cannot be made", [_by_parameter(each) for each in error.faults]
        ) from error


def _by_parameter(fault: Fault) -> Fault:
    """A fault of the reference block, reported at the parameter it comes from."""
    place = next((each for each in _PARAMETERS if fault.where.startswith(each)), "/crop")
    return replace(fault, where=_PARAMETERS[place])


_PARAMETERS = {
    "/crop": "crop",
    "/row_spacing": "row_spacing",
    "/emitter_spacing": "emitter_spacing",
    "/emitter_flow": "emitter_flow",
    "/laterals_per_row": "laterals_per_row",
    "/soil/texture": "texture",
    "/season/start": "season_start",
    "/season/lengths": "stage_days",
    "/season": "season_start",
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
