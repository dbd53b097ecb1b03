"""The page of the counties: how much water one reference block needs in each, week by week."""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from typing import Any

import numpy as np
from starlette.responses import Response

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.drawing.bars import ranked
from service.drawing.dot_map import Dot, dot_map
from service.errors import InputInvalid, NotFound
from service.operations.access.manage_keys import Right
from service.operations.farms.change_farms import get_block_now
from service.operations.reading.read_farms import blocks_in_force
from service.operations.review.compare_counties import (
    compare_spans,
    counties_today,
    county_weeks,
    list_county_sites,
)
from service.operations.review.reference_block import (
    ReferenceBlock,
    ReferenceSystem,
    reference_block,
)
from service.pages.county_rows import MARKS, county_csv, marked
from service.pages.named_choices import crops_by_name, textures_by_key
from service.pages.visit import NotSignedIn, Visit, faults_by_field
from service.records.counties import CountyWeek
from service.records.farms import BlockDefinition, SiteDefinition
from service.translations import Wording
from service.unit_sizes import L_PER_GALLON, M_PER_FOOT, M_PER_INCH

DAYS_PER_WEEK = 7
WEEKS_BACK = 8
DEFAULT_CROP = "grape-wine"
MOST_BLOCKS = 200
"""Blocks offered by name; in a larger region a block is entered by id."""
_WEEK = re.compile(r"[0-9]{4}-W[0-9]{2}")


def show_counties(visit: Visit) -> Response:
    """The week chosen and the eight before it."""
    _check_access(visit)
    visit.unit_system = "us"
    words = visit.words
    try:
        sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    except NotFound:
        return visit.show("counties.html", rows=None)
    on = counties_today(sites, visit.service.clock.now())
    monday = _chosen_monday(visit, on)
    try:
        reference = _reference(visit, sites[0])
    except InputInvalid as error:
        # Only the season can be wrong: everything else is chosen from lists.
        faults = faults_by_field(error, _SEASON_FIELDS)
        form = _form(visit, monday, on)
        return visit.show("counties.html", status=422, rows=(), faults=faults, **form)
    weeks = _weeks(visit, reference, _mondays(monday), on)
    known_until = _unranked_until(weeks[0])
    if known_until is not None and "week" not in visit.query:
        # Prefer the last fully measured week to one without weather.
        monday = _monday_of(known_until - timedelta(days=DAYS_PER_WEEK - 1))
        weeks = _weeks(visit, reference, _mondays(monday), on)
        known_until = _unranked_until(weeks[0])
    form = _form(visit, monday, on)
    rows = sorted(weeks[0], key=lambda row: (row.rank or 10**6, row.name))
    site_of = {site.site_id: site for site in sites}
    week_text = words.span(monday, monday + timedelta(days=DAYS_PER_WEEK - 1))
    title = words.gettext(
        "Water that {crop} needs, {week}",
        crop=dict(form["blocks"] or ()).get(reference, reference)
        if isinstance(reference, str)
        else words.gettext(CROPS[reference.block.crop_key].name),
        week=week_text,
    )
    return visit.show(
        "counties.html",
        rows=rows,
        **_reference_facts(reference, words),
        faults={},
        week_text=week_text,
        marked=marked,
        marks={basis.name: MARKS[basis] for basis in {row.basis for row in rows}},
        known_until=known_until,
        ranked=ranked(
            title,
            _summary(rows, visit),
            [
                (row.name, row.net_need_mm, marked(words.depth(row.net_need_mm), row))
                for row in rows
            ],
        ),
        dots=dot_map(title, _summary(rows, visit), _dots(rows, site_of, words)),
        back=[
            (words.short_day(each), {row.county_code: row.net_need_mm for row in week})
            for each, week in zip(_mondays(monday), weeks, strict=True)
        ],
        **form,
    )


def counties_csv(visit: Visit) -> Response:
    """The table of the week as CSV, in SI units."""
    _check_access(visit)
    sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    on = counties_today(sites, visit.service.clock.now())
    monday = _chosen_monday(visit, on)
    (rows,) = _weeks(visit, _reference(visit, sites[0]), [monday], on)
    name = f"counties-{_week_name(monday)}.csv"
    return Response(
        county_csv(rows, week=_week_name(monday)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _check_access(visit: Visit) -> None:
    if visit.service.settings.public_counties:
        return
    visit.need(Right.ADVISER)


def _chosen_monday(visit: Visit, on: date) -> date:
    text = visit.query.get("week", "")
    if _WEEK.fullmatch(text):
        try:
            return date.fromisocalendar(int(text[:4]), int(text[6:]), 1)
        except ValueError:
            pass
    return _monday_of(on)


def _form(visit: Visit, monday: date, on: date) -> dict[str, Any]:
    """The choices of the page's form, and the current selection."""
    words = visit.words
    return {
        "week": _week_name(monday),
        "week_choices": [
            (_week_name(each), words.span(each, each + timedelta(days=DAYS_PER_WEEK - 1)))
            for each in _choices(on, monday)
        ],
        "crops": crops_by_name(words),
        "textures": textures_by_key(words),
        "crop": visit.query.get("crop", DEFAULT_CROP),
        "texture": visit.query.get("texture", "loam"),
        "block": visit.query.get("block", "") if visit.may(Right.PLAN_READ) else "",
        "blocks": _block_choices(visit, on),
        "csv_query": _csv_query(visit, monday),
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


def _monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _choices(on: date, chosen: date) -> list[date]:
    this = _monday_of(on)
    near = {this + timedelta(days=DAYS_PER_WEEK * step) for step in range(-26, 2)}
    return sorted({*near, chosen}, reverse=True)


def _week_name(monday: date) -> str:
    year, number, _ = monday.isocalendar()
    return f"{year}-W{number:02d}"


def _reference(visit: Visit, site: SiteDefinition) -> str | ReferenceBlock:
    block_id = visit.query.get("block", "")
    if block_id:
        # Somebody who only compares counties, or is not signed in, sees no farm.
        if visit.visitor is None:
            raise NotSignedIn(visit.here)
        visit.need(Right.PLAN_READ, block_id.partition(".")[0])
        return block_id
    crop = visit.query.get("crop", DEFAULT_CROP)
    texture = visit.query.get("texture", "loam")
    if crop not in CROPS or texture not in TEXTURE_KEYS:
        raise NotFound("there is no such crop or soil")
    stage_days = visit.query.get("stage_days")
    return reference_block(
        ReferenceSystem(
            crop=crop,
            texture=texture.replace("-", " "),
            season_start=visit.query.get("season_start") or None,
            stage_lengths_day=_stage_days(stage_days) if stage_days else None,
        ),
        site,
        farm_format=visit.service.farm_format,
    )


_SEASON_FIELDS = {
    "/season": "season_start",
    "/season/start": "season_start",
    "/season/lengths": "stage_days",
}


def _stage_days(text: str) -> list[float | str]:
    """Four numbers in a row; anything that is not a number is left for the reader to refuse."""
    return [float(part) if part.isdecimal() else part for part in re.split(r"[,;\s]+", text)]


def _weeks(
    visit: Visit, reference: str | ReferenceBlock, mondays: list[date], on: date
) -> list[list[CountyWeek]]:
    service = visit.service
    block = (
        # As of today at its farm, where the date may differ from that of the counties.
        get_block_now(reference, unit_of_work=service.unit_of_work, clock=service.clock)
        if isinstance(reference, str)
        else reference.block
    )
    return [
        county_weeks(found)
        for found in compare_spans(
            block,
            [(monday, monday + timedelta(days=DAYS_PER_WEEK - 1)) for monday in mondays],
            on=on,
            unit_of_work=service.unit_of_work,
            clock=service.clock,
            source_order=service.source_order,
        )
    ]


def _dots(rows: list[CountyWeek], site_of: dict[str, SiteDefinition], words: Wording) -> list[Dot]:
    known = [row.net_need_mm for row in rows if math.isfinite(row.net_need_mm)]
    least, most = min(known, default=0.0), max(known, default=0.0)
    spread = most - least or 1.0
    return [
        Dot(
            label=f"{row.name} {words.bare_depth(row.net_need_mm)}",
            latitude_deg=site_of[row.site_id].latitude_deg,
            longitude_deg=site_of[row.site_id].longitude_deg,
            level=0
            if math.isnan(row.net_need_mm)
            else 1 + round(3 * (row.net_need_mm - least) / spread),
        )
        for row in rows
    ]


def _summary(rows: list[CountyWeek], visit: Visit) -> str:
    return "; ".join(f"{row.name} {visit.words.depth(row.net_need_mm)}" for row in rows[:60])


def _reference_facts(reference: str | ReferenceBlock, words: Wording) -> dict[str, Any]:
    """The reference block in words, and the origin of a season that was not asked for."""
    if isinstance(reference, str):
        return {"reference_text": "", "season_origin": ""}
    origin = reference.season_origin if reference.is_season_estimated else ""
    return {"reference_text": _reference_text(reference.block, words), "season_origin": origin}


def _reference_text(block: BlockDefinition, words: Wording) -> str:
    """The reference block that the hours apply to."""
    is_us = words.unit_system == "us"
    return words.gettext(
        "Hours are for the reference block: rows {row} apart, one drip line per row, a {flow} "
        "emitter every {gap}.",
        row=f"{words.number(block.row_spacing_m / M_PER_FOOT)} {words.unit('ft')}"
        if is_us
        else f"{words.number(block.row_spacing_m, 2)} m",
        flow=f"{words.number(block.emitter_flow_l_per_h / L_PER_GALLON, 1)} {words.unit('gph')}"
        if is_us
        else f"{words.number(block.emitter_flow_l_per_h, 1)} L/h",
        gap=f"{words.number(block.emitter_spacing_m / M_PER_INCH)} {words.unit('in')}"
        if is_us
        else f"{words.number(block.emitter_spacing_m * 100.0)} cm",
    )


def _block_choices(visit: Visit, on: date) -> list[tuple[str, str]] | None:
    """Blocks to choose from; empty if the visitor may read none, None if there are too many to
    list.
    """
    if not visit.may(Right.PLAN_READ) or visit.visitor is None:
        return []
    farm_ids = visit.visitor.farm_ids
    with visit.service.unit_of_work(write=False) as unit:
        keys = unit.blocks.farm_keys(None if farm_ids is None else sorted(farm_ids))
        farm_keys = np.array(list(keys.values()), dtype=np.int64)
        if sum(unit.blocks.count_blocks(farm_keys, day=on).values()) > MOST_BLOCKS:
            return None
        return [
            (block.block_id, block.name)
            for block in blocks_in_force(
                unit, visit.service.clock.now(), farm_ids=None if farm_ids is None else keys
            )
        ]


def _csv_query(visit: Visit, monday: date) -> dict[str, str]:
    names = ("crop", "block", "texture", "season_start", "stage_days")
    kept = {name: visit.query[name] for name in names if visit.query.get(name)}
    return {**kept, "week": _week_name(monday)}
