"""The page of the counties: how much water one reference block needs in each, week by week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from starlette.responses import Response

from service.errors import InputInvalid, NotFound
from service.operations.access.manage_keys import Right
from service.operations.exports.county_table import county_table
from service.operations.review.compare_counties import (
    compare_in,
    counties_today,
    county_weeks,
    list_county_sites,
)
from service.operations.review.import_boundaries import find_boundaries
from service.pages.county_choice import (
    DAYS_PER_WEEK,
    SEASON_FIELDS,
    Choice,
    Reference,
    chosen_monday,
    crops_in_groups,
    monday_of,
    read_choice,
    reference_of,
    sunday_of,
    week_choices,
    week_name,
)
from service.pages.county_map import week_map
from service.pages.county_rows import county_csv
from service.pages.county_view import courses, findings, in_order, ranking, stand_ins
from service.pages.named_choices import crops_by_name, textures_by_key
from service.pages.table_files import file_answer
from service.pages.visit import Visit, faults_by_field
from service.records.counties import CountyBoundaries, CountyWeek
from service.translations import Wording

WEEKS_BACK = 8


def show_counties(visit: Visit) -> Response:
    """The week chosen and the eight before it."""
    _check_access(visit)
    visit.unit_system = "us"
    try:
        sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    except NotFound:
        return visit.show("counties.html", rows=None)
    on = counties_today(sites, visit.service.clock.now())
    monday = chosen_monday(visit, on)
    choice = read_choice(visit, on)
    if choice.is_by_block and not choice.block_id:
        return visit.show("counties.html", rows=(), faults={}, **_form(visit, choice, monday, on))
    try:
        reference = reference_of(choice, visit, sites[0])
    except InputInvalid as error:
        # Only the season can be wrong: everything else is chosen from lists.
        faults = faults_by_field(error, SEASON_FIELDS)
        form = _form(visit, choice, monday, on)
        return visit.show("counties.html", status=422, rows=(), faults=faults, **form)
    weeks = _weeks(visit, reference, _mondays(monday), on)
    known_until = _unranked_until(weeks[0])
    if known_until is not None and "week" not in visit.query:
        # Prefer the last fully measured week to one without weather.
        monday = monday_of(known_until - timedelta(days=DAYS_PER_WEEK - 1))
        weeks = _weeks(visit, reference, _mondays(monday), on)
        known_until = _unranked_until(weeks[0])
    boundaries = find_boundaries(unit_of_work=visit.service.unit_of_work)
    return visit.show(
        "counties.html",
        faults={},
        known_until=known_until,
        reference=reference,
        **_form(visit, choice, monday, on),
        **_findings(weeks, monday, reference, boundaries, visit.words),
    )


def counties_csv(visit: Visit) -> Response:
    """The table of the week as CSV, in the units of the page."""
    _check_access(visit)
    visit.unit_system = "us"
    sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    on = counties_today(sites, visit.service.clock.now())
    monday = chosen_monday(visit, on)
    reference = reference_of(read_choice(visit, on), visit, sites[0])
    (rows,) = _weeks(visit, reference, [monday], on)
    name = f"counties-{week_name(monday)}.csv"
    return Response(
        county_csv(
            rows,
            week=week_name(monday),
            reference=reference.name,
            unit_system=visit.words.unit_system,
        ),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def counties_file(visit: Visit) -> Response:
    """The same table as a spreadsheet, in the language and units of the page."""
    _check_access(visit)
    visit.unit_system = "us"
    sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    on = counties_today(sites, visit.service.clock.now())
    monday = chosen_monday(visit, on)
    reference = reference_of(read_choice(visit, on), visit, sites[0])
    (rows,) = _weeks(visit, reference, [monday], on)
    table = county_table(
        in_order(rows),
        visit.words,
        span=(monday, sunday_of(monday)),
        week=week_name(monday),
        reference=reference.name,
    )
    return file_answer(visit, table, ending="xlsx")


def _check_access(visit: Visit) -> None:
    if visit.service.settings.public_counties:
        return
    visit.need(Right.ADVISER)


def _form(visit: Visit, choice: Choice, monday: date, on: date) -> dict[str, Any]:
    """The choices of the page's form, and the current selection."""
    words = visit.words
    crops = crops_by_name(words)
    return {
        "choice": choice,
        "week": week_name(monday),
        "week_text": words.span(monday, sunday_of(monday)),
        "week_choices": week_choices(on, monday, words),
        "crops": crops,
        "crop_groups": crops_in_groups(crops),
        "textures": textures_by_key(words),
        "query": choice.query(monday),
    }


def _findings(
    weeks: Sequence[list[CountyWeek]],
    monday: date,
    reference: Reference,
    boundaries: CountyBoundaries | None,
    words: Wording,
) -> dict[str, Any]:
    """What the page says of the week and of those before it."""
    rows = in_order(weeks[0])
    mondays = _mondays(monday)
    title = words.gettext(
        "Water that {crop} needs, {week}",
        crop=reference.name,
        week=words.span(monday, sunday_of(monday)),
    )
    first, rest = findings(rows, words)
    return {
        "rows": rows,
        "bases": {row.basis.name for row in rows},
        "finding": first,
        "more": rest,
        "stand_ins": stand_ins(rows, words),
        "ranking": ranking(title, rows, words),
        "courses": courses(rows, list(zip(mondays, weeks, strict=True)), words),
        "map": week_map(title, first, rows, boundaries, words),
        "back": [
            (words.short_day(each), {row.county_code: row.net_need_mm for row in week})
            for each, week in zip(mondays, weeks, strict=True)
        ],
    }


def _mondays(monday: date) -> list[date]:
    """The week shown and those before it."""
    return [monday - timedelta(days=DAYS_PER_WEEK * back) for back in range(WEEKS_BACK + 1)]


def _unranked_until(rows: list[CountyWeek]) -> date | None:
    """The last day measured anywhere, where too little is known to rank any county; else None."""
    if any(row.rank for row in rows):
        return None
    days = [row.observed_until for row in rows if row.observed_until is not None]
    return max(days, default=None)


def _weeks(
    visit: Visit, reference: Reference, mondays: list[date], on: date
) -> list[list[CountyWeek]]:
    spans = [(monday, sunday_of(monday)) for monday in mondays]
    weather = visit.county_weather(spans, on)
    return [county_weeks(found) for found in compare_in(weather, reference.block)]
