"""The water need of counties as it is asked for: which weeks, which counties, which reference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.api.access import Caller, Right
from service.api.answers import SHEET_WORDS
from service.api.county_desk import CountyDesk
from service.api.schemas.counties import CountyNeedOut, CountyWeekOut, ReferenceOut
from service.api.schemas.queries import CountyNeedQuery
from service.bootstrap import Service
from service.errors import Fault, InputInvalid, NotFound
from service.operations.exports.county_table import county_table
from service.operations.farms.change_farms import get_block_now
from service.operations.reading.follow_farms import check_counties
from service.operations.review.compare_counties import (
    CountyComparison,
    CountyWeather,
    compare_in,
    counties_today,
    county_weeks,
    list_county_sites,
)
from service.operations.review.reference_block import (
    ReferenceBlock,
    ReferenceSystem,
    reference_block,
)
from service.records.export import ExportTable
from service.records.farms import BlockDefinition, SiteDefinition

DAYS_PER_WEEK = 7


def reference_asked(
    service: Service, query: CountyNeedQuery, caller: Caller
) -> BlockDefinition | None:
    """The stored block that is asked for, if the caller may read it; None: a crop is asked for.

    Raises InputInvalid where it is neither or both.
    """
    if (query.block is None) == (query.crop is None):
        raise InputInvalid(
            "the reference is not clear", [Fault("crop", "both or neither", "either crop or block")]
        )
    return None if query.block is None else _readable_block(query.block, service, caller)


@dataclass(frozen=True, slots=True)
class CountyFigures:
    """What was asked: the reference block, and the comparison of each week."""

    block: BlockDefinition
    made: ReferenceBlock | None
    """How it was made; None: it is a stored block."""
    comparisons: Sequence[CountyComparison]
    wanted: frozenset[str]
    """Codes of the counties that were asked for; empty: all."""
    on: date
    """The day of the counties on which this was asked."""


def county_need(
    desk: CountyDesk, service: Service, query: CountyNeedQuery, block: BlockDefinition | None
) -> CountyNeedOut:
    """The figures, for a stored block or for one made of the crop that is asked for."""
    found = _compared(desk, service, query, block)
    return CountyNeedOut(
        issued_at=service.clock.now(),
        reference=ReferenceOut.of(found.block, found.made, block_id=query.block),
        items=[
            row
            for comparison in found.comparisons
            for row in CountyWeekOut.rows_of(
                comparison, week=_week_name(comparison.first_day), on=found.on
            )
            if not found.wanted or row.county_code in found.wanted
        ],
    )


def county_sheet(
    desk: CountyDesk, service: Service, query: CountyNeedQuery, block: BlockDefinition | None
) -> ExportTable:
    """The same figures as a table for people."""
    found = _compared(desk, service, query, block)
    lines = [
        (comparison.first_day, row)
        for comparison in found.comparisons
        for row in county_weeks(comparison)
        if not found.wanted or row.county_code in found.wanted
    ]
    first, last = found.comparisons[0], found.comparisons[-1]
    names = dict.fromkeys(_week_name(each.first_day) for each in (first, last))
    return county_table(
        [row for _, row in lines],
        SHEET_WORDS,
        span=(first.first_day, last.last_day),
        week="-".join(names),
        reference=found.block.name,
        mondays=[monday for monday, _ in lines],
    )


def _compared(
    desk: CountyDesk, service: Service, query: CountyNeedQuery, block: BlockDefinition | None
) -> CountyFigures:
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
    return CountyFigures(
        block=block,
        made=made,
        comparisons=compare_in(weather, block),
        wanted=_wanted_counties(query.county, weather),
        on=on,
    )


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
    check_counties(codes, {county.county_code for county in weather.counties})
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
