"""The page of the counties: how much water one reference block needs in each, week by week."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from starlette.responses import Response

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.errors import NotFound
from service.operations.manage_keys import Right
from service.pages import charts
from service.pages.visit import NotSignedIn, Visit
from service.records import BlockDefinition, FarmBundle, FarmDefinition, SiteDefinition
from service.translations import Wording

if TYPE_CHECKING:
    from service.operations.compare_counties import CountyComparison

DAYS_PER_WEEK = 7
WEEKS_BACK = 8
DEFAULT_CROP = "grape-wine"
COMPARED_CROPS = {key: row for key, row in CROPS.items() if row.stage_lengths_day is not None}
"""Those with a published season; others are compared by a stored block, which knows its own."""
_WEEK = re.compile(r"[0-9]{4}-W[0-9]{2}")
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


@dataclass(frozen=True, slots=True)
class CountyRow:
    """One county in one week."""

    code: str
    name: str
    site_id: str
    rank: int
    reference_et_mm: float
    crop_et_mm: float
    rain_mm: float
    net_mm: float
    gross_mm: float
    running_h: float
    percent_of_normal: float
    forecast_day_count: int
    observed_until: date | None


def show_counties(visit: Visit) -> Response:
    """The week chosen and the eight before it."""
    _check_access(visit)
    from service.operations.compare_counties import list_county_sites

    visit.unit_system = "us"
    try:
        sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    except NotFound:
        return visit.show("counties.html", rows=None)
    on = visit.service.clock.now().date()
    monday = _chosen_monday(visit, on)
    reference = _reference(visit, sites[0])
    mondays = [monday - timedelta(days=DAYS_PER_WEEK * back) for back in range(WEEKS_BACK + 1)]
    weeks = [_week(visit, reference, each, on) for each in mondays]
    rows = sorted(weeks[0], key=lambda row: (row.rank or 10**6, row.name))
    words = visit.words
    site_of = {site.site_id: site for site in sites}
    week_text = words.span(monday, monday + timedelta(days=DAYS_PER_WEEK - 1))
    crop = reference if isinstance(reference, str) else reference.crop_key
    title = words.gettext(
        "Water that {crop} needs, {week}", crop=_crop_name(visit, crop), week=week_text
    )
    return visit.show(
        "counties.html",
        rows=rows,
        week_text=week_text,
        week=_week_name(monday),
        this_week=_week_name(_monday_of(on)),
        week_choices=[
            (_week_name(each), words.span(each, each + timedelta(days=6)))
            for each in _choices(on, monday)
        ],
        crops=sorted(
            ((row.key, words.gettext(row.name)) for row in COMPARED_CROPS.values()),
            key=lambda each: each[1],
        ),
        textures=TEXTURE_KEYS,
        crop=visit.query.get("crop", DEFAULT_CROP),
        block=visit.query.get("block", "") if visit.may(Right.PLAN_READ) else "",
        blocks=_block_choices(visit, on),
        texture=visit.query.get("texture", "loam"),
        ranked=charts.ranked(
            title,
            _told(rows, visit),
            [(row.name, row.net_mm, words.depth(row.net_mm)) for row in rows],
        ),
        dots=charts.dot_map(title, _told(rows, visit), _dots(rows, site_of, words)),
        back=[
            (words.short_day(each), {row.code: row.net_mm for row in week})
            for each, week in zip(mondays, weeks, strict=True)
        ],
        csv_query=_csv_query(visit, monday),
    )


def counties_csv(visit: Visit) -> Response:
    """The table of the week as CSV, in SI units."""
    _check_access(visit)
    from service.operations.compare_counties import list_county_sites

    sites = list_county_sites(unit_of_work=visit.service.unit_of_work)
    on = visit.service.clock.now().date()
    monday = _chosen_monday(visit, on)
    rows = _week(visit, _reference(visit, sites[0]), monday, on)
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(
        [
            "week", "county_code", "name", "rank", "reference_et_mm", "percent_of_normal",
            "crop_et_mm", "rain_mm", "net_need_mm", "gross_need_mm", "running_h",
            "forecast_day_count", "observed_until",
        ]
    )  # fmt: skip
    for row in rows:
        writer.writerow(
            [
                _week_name(monday), _safe(row.code), _safe(row.name), row.rank or "",
                *(
                    "" if math.isnan(value) else round(value, 3)
                    for value in (
                        row.reference_et_mm, row.percent_of_normal, row.crop_et_mm, row.rain_mm,
                        row.net_mm, row.gross_mm, row.running_h,
                    )
                ),
                row.forecast_day_count,
                row.observed_until or "",
            ]
        )  # fmt: skip
    name = f"counties-{_week_name(monday)}.csv"
    return Response(
        buffer.getvalue().encode(),
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


def _monday_of(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _choices(on: date, chosen: date) -> list[date]:
    this = _monday_of(on)
    near = {this + timedelta(days=DAYS_PER_WEEK * step) for step in range(-26, 2)}
    return sorted({*near, chosen}, reverse=True)


def _week_name(monday: date) -> str:
    year, number, _ = monday.isocalendar()
    return f"{year}-W{number:02d}"


def _reference(visit: Visit, site: SiteDefinition) -> str | BlockDefinition:
    block_id = visit.query.get("block", "")
    if block_id:
        # Who only compares counties, or is not signed in, sees no farm.
        if visit.visitor is None:
            raise NotSignedIn(visit.path)
        visit.need(Right.PLAN_READ, block_id.partition(".")[0])
        return block_id
    bundle = FarmBundle(
        farm=FarmDefinition(farm_id="reference", name="Reference", zone=site.zone), sites=(site,)
    )
    crop = visit.query.get("crop", DEFAULT_CROP)
    texture = visit.query.get("texture", "loam")
    if crop not in COMPARED_CROPS or texture not in TEXTURE_KEYS:
        raise NotFound("there is no such crop or soil")
    block: dict[str, object] = {
        "id": "block",
        "crop": crop,
        "area": "1 ac",
        "row_spacing": "10 ft",
        "emitter_spacing": "18 in",
        "emitter_flow": "0.5 gph",
        "soil": {"texture": texture.replace("-", " ")},
    }
    document = {
        **visit.service.farm_format.document(bundle),
        "supply": [{"id": "any", "flow": "100 m3/h"}],
        "block": [block],
    }
    return visit.service.farm_format.parse(document).blocks[0]


def _week(
    visit: Visit, reference: str | BlockDefinition, monday: date, on: date
) -> list[CountyRow]:
    from service.operations.compare_counties import compare_counties

    return _rows(
        compare_counties(
            reference,
            first_day=monday,
            last_day=monday + timedelta(days=DAYS_PER_WEEK - 1),
            on=on,
            unit_of_work=visit.service.unit_of_work,
            clock=visit.service.clock,
            source_order=visit.service.source_order,
        )
    )


def _rows(found: CountyComparison) -> list[CountyRow]:
    need = found.need
    return [
        CountyRow(
            code=county.county_code,
            name=county.name,
            site_id=county.site_id,
            rank=int(need.rank[place]),
            reference_et_mm=float(need.reference_et_mm[place]),
            crop_et_mm=float(need.crop_et_mm[place]),
            rain_mm=float(found.rain_mm[place]),
            net_mm=float(need.net_need_mm[place]),
            gross_mm=float(need.gross_need_mm[place]),
            running_h=float(need.running_h[place]),
            percent_of_normal=float(need.percent_of_normal[place]),
            forecast_day_count=int(found.forecast_day_count[place]),
            observed_until=found.observed_until[place],
        )
        for place, county in enumerate(found.counties)
    ]


def _dots(
    rows: list[CountyRow], site_of: dict[str, SiteDefinition], words: Wording
) -> list[charts.Dot]:
    known = [row.net_mm for row in rows if math.isfinite(row.net_mm)]
    least, most = min(known, default=0.0), max(known, default=0.0)
    spread = most - least or 1.0
    return [
        charts.Dot(
            label=f"{row.name} {words.bare_depth(row.net_mm)}",
            latitude_deg=site_of[row.site_id].latitude_deg,
            longitude_deg=site_of[row.site_id].longitude_deg,
            level=0 if math.isnan(row.net_mm) else 1 + round(3 * (row.net_mm - least) / spread),
        )
        for row in rows
    ]


def _told(rows: list[CountyRow], visit: Visit) -> str:
    return "; ".join(f"{row.name} {visit.words.depth(row.net_mm)}" for row in rows[:60])


def _crop_name(visit: Visit, key: str) -> str:
    row = CROPS.get(key)
    return key if row is None else visit.words.gettext(row.name)


def _block_choices(visit: Visit, on: date) -> list[tuple[str, str]]:
    if not visit.may(Right.PLAN_READ) or visit.visitor is None:
        return []
    with visit.service.unit_of_work(write=False) as unit:
        blocks = unit.blocks.list_blocks(farm_id=visit.visitor.farm_id, day=on)
    return [(block.block_id, block.name) for block in blocks[:200]]


def _csv_query(visit: Visit, monday: date) -> dict[str, str]:
    kept = {
        name: visit.query[name] for name in ("crop", "block", "texture") if visit.query.get(name)
    }
    return {**kept, "week": _week_name(monday)}


def _safe(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
