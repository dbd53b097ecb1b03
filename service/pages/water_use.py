"""The water that a farm used in a season: by month, block or supply, against what it may use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from markupsafe import Markup
from starlette.responses import Response

from service.drawing.season_use import SeasonCourse, season_use
from service.errors import InputInvalid
from service.operations.exports.water_tables import water_table
from service.operations.reading.read_farms import local_day
from service.operations.reading.water_used import WaterCourse, water_course, water_used
from service.operations.review.season_ahead import AheadBasis, SeasonAhead, season_ahead
from service.pages.plans import bundle_of, farm_of, parsed_day
from service.pages.table_files import block_names, file_answer
from service.pages.visit import Visit, faults_by_field
from service.records.farms import FarmBundle, FarmDefinition
from service.records.water_use import Grouping, WaterSum, WaterUse, WaterWish
from service.translations import Wording
from service.translations.catalogue import marked
from service.translations.wording import US
from service.unit_sizes import L_PER_ACRE_FOOT, L_PER_M3

GROUPS: Mapping[str, str] = {
    Grouping.MONTH: marked("Month"),
    Grouping.SEASON: marked("Season"),
    Grouping.BLOCK: marked("Block"),
    Grouping.SUPPLY: marked("Supply"),
}
SEASON_DAYS = 366
"""Longer spans are more than one season, and have no course."""
DECIMALS_UP_TO = 100.0
_FIELDS = {"/limit": "limit", "limit": "limit", "to": "to", "supply": "supply"}
_NAMES = ("by", "from", "to", "supply", "limit")


@dataclass(frozen=True, slots=True)
class UseView:
    """What the page shows of the water."""

    span: str
    total: str
    finding: str
    """Against the limit; empty without one."""
    is_passed: bool
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    record: str
    """From when on there is a record; empty: for all of the span, or for none of it."""
    chart: Markup | None
    ahead: str
    """How far the rest of the season would go, and what that rests on."""


def show_water_use(visit: Visit) -> Response:
    """The page: a question by its address, the sums, and the course of a season."""
    farm = farm_of(visit)
    bundle = bundle_of(visit, farm, local_day(visit.service.clock.now(), farm.zone))
    view, faults = None, {}
    try:
        view = _view(visit, _wish(visit, farm), bundle)
    except InputInvalid as error:
        faults = faults_by_field(error, _FIELDS)
    words = visit.words
    return visit.show(
        "water_use.html",
        status=422 if faults else 200,
        farm=farm,
        view=view,
        faults=faults,
        form=visit.query,
        first_day=visit.query.get("from", ""),
        last_day=visit.query.get("to", ""),
        groups=[(key, words.gettext(name)) for key, name in GROUPS.items()],
        supplies=[("", words.gettext("all supplies")), *_supplies(bundle)],
        example="12 ac-ft" if words.unit_system == US else "15000 m3",
        asked={name: visit.query[name] for name in _NAMES if visit.query.get(name)},
    )


def water_use_file(visit: Visit) -> Response:
    """The same sums as a file; by month and block where the address does not say."""
    farm = farm_of(visit)
    wish = _wish(visit, farm)
    if not visit.query.get("by"):
        wish = replace(wish, by=(Grouping.MONTH, Grouping.BLOCK))
    service = visit.service
    use = water_used(wish, unit_of_work=service.unit_of_work, clock=service.clock)
    return file_answer(visit, water_table(use, farm, visit.words, block_names(visit, farm)))


def _wish(visit: Visit, farm: FarmDefinition) -> WaterWish:
    query = visit.query
    by, limit = query.get("by", ""), query.get("limit", "").strip()
    return WaterWish(
        farm_id=farm.farm_id,
        by=(Grouping(by) if by in set(Grouping) else Grouping.MONTH,),
        first_day=parsed_day(query.get("from", "")),
        last_day=parsed_day(query.get("to", "")),
        supply_id=query.get("supply") or None,
        limit=visit.service.farm_format.water_limit(limit) if limit else None,
    )


def _supplies(bundle: FarmBundle) -> list[tuple[str, str]]:
    return [(supply.supply_id, supply.name) for supply in bundle.supplies]


def _view(visit: Visit, wish: WaterWish, bundle: FarmBundle) -> UseView:
    words, service = visit.words, visit.service
    asked: dict[str, Any] = {"unit_of_work": service.unit_of_work, "clock": service.clock}
    course = water_course(wish, **asked)
    use = course.use
    ahead = None
    if wish.last_day is None and wish.first_day is None:
        ahead = season_ahead(wish, use.last_day, **asked)
    is_season = (use.last_day - use.first_day).days < SEASON_DAYS and (
        use.total.volume_l > 0.0 or use.limit_volume_l is not None
    )
    names = {block.block_id: block.name for block in bundle.blocks} | dict(_supplies(bundle))
    return UseView(
        span=words.span(use.first_day, use.last_day),
        total=words.gettext(
            "{volume}, which is {depth} over the ground of the blocks.",
            volume=large_volume(use.total.volume_l, words),
            depth=words.depth(use.total.gross_mm),
        ),
        finding=_finding(use, words),
        is_passed=(use.left_volume_l or 0.0) < 0.0,
        columns=_columns(use, words),
        rows=tuple(_row(each, use, names, words) for each in use.sums),
        record=_record_words(course, words),
        chart=_chart(course, ahead, words) if is_season else None,
        ahead=_ahead_words(use, ahead, words) if wish.last_day is None else "",
    )


def large_volume(volume_l: float, words: Wording) -> str:
    """A volume of many days: acre-feet, or cubic meters."""
    if words.unit_system == US:
        acre_feet = volume_l / L_PER_ACRE_FOOT
        return words.gettext(
            "{volume} ac-ft", volume=words.number(acre_feet, 2 if acre_feet < DECIMALS_UP_TO else 0)
        )
    cubic = volume_l / L_PER_M3
    return words.gettext(
        "{volume} m³", volume=words.number(cubic, 1 if cubic < DECIMALS_UP_TO else 0)
    )


def _finding(use: WaterUse, words: Wording) -> str:
    if use.limit_volume_l is None or use.left_volume_l is None:
        return ""
    values = {
        "share": words.percent(use.total.volume_l / use.limit_volume_l),
        "limit": large_volume(use.limit_volume_l, words),
        "left": large_volume(abs(use.left_volume_l), words),
    }
    if use.left_volume_l < 0.0:
        return words.gettext("{share} of {limit}: {left} more than may be used.", **values)
    return words.gettext("{share} of {limit}: {left} are left.", **values)


def _columns(use: WaterUse, words: Wording) -> tuple[tuple[str, str], ...]:
    return (
        *((words.gettext(GROUPS[each]), "") for each in use.by),
        (words.gettext("Water"), "n"),
        (words.gettext("Depth, {unit}", unit=words.depth_unit), "n"),
        (words.gettext("By meter"), "n"),
        (words.gettext("By reported runs"), "n"),
        (words.gettext("By plans"), "n"),
    )


def _row(
    each: WaterSum, use: WaterUse, names: Mapping[str, str], words: Wording
) -> tuple[str, ...]:
    parts = (each.metered_volume_l, each.reported_volume_l, each.assumed_volume_l)
    shares = (words.percent(part / each.volume_l) if each.volume_l else "–" for part in parts)
    labels = (
        words.month(date.fromisoformat(f"{label}-01")) if group is Grouping.MONTH
        else names.get(label, label)
        for group, label in zip(use.by, each.labels, strict=True)
    )  # fmt: skip
    depth = words.bare_depth(each.gross_mm)
    return (*labels, large_volume(each.volume_l, words), depth, *shares)


def _record_words(course: WaterCourse, words: Wording) -> str:
    if not course.days.size or course.days[0].item() <= course.use.first_day:
        return ""
    return words.gettext(
        "The record begins on {day}. What was used before is not counted.",
        day=words.dated(course.days[0].item()),
    )


def _chart(course: WaterCourse, ahead: SeasonAhead | None, words: Wording) -> Markup:
    use, sums_l = course.use, np.cumsum(course.volume_l)
    first = use.first_day
    last = use.last_day if ahead is None else ahead.days[-1].item()
    used = [
        ((day - first).days, float(sum_l))
        for day, sum_l in zip(course.days.tolist(), sums_l, strict=True)
    ] or [(0, 0.0)]
    coming: list[tuple[int, float]] = []
    if ahead is not None:
        so_far = used[-1][1]
        coming = [(used[-1][0], so_far)] + [
            ((day - first).days, so_far + float(sum_l))
            for day, sum_l in zip(ahead.days.tolist(), np.cumsum(ahead.volume_l), strict=True)
        ]
    top_l = max(used[-1][1], coming[-1][1] if coming else 0.0, use.limit_volume_l or 0.0)
    drawn = SeasonCourse((last - first).days + 1, used, coming, use.limit_volume_l)
    return season_use(
        words.gettext("Water of the season, added up"),
        " ".join(filter(None, (_finding(use, words), _ahead_words(use, ahead, words)))),
        drawn,
        months=_months(first, last, words),
        limit_name=""
        if use.limit_volume_l is None
        else words.gettext("may be used: {volume}", volume=large_volume(use.limit_volume_l, words)),
        top_name=large_volume(top_l, words),
    )


def _months(first: date, last: date, words: Wording) -> Sequence[tuple[int, str]]:
    """The first days of the months, and their names in a few letters."""
    days = (first + timedelta(days=place) for place in range((last - first).days + 1))
    return [((day - first).days, words.month_name(day)) for day in days if day.day == 1]


def _ahead_words(use: WaterUse, ahead: SeasonAhead | None, words: Wording) -> str:
    if ahead is None:
        return ""
    more_l = float(ahead.volume_l.sum())
    whole_l = use.total.volume_l + more_l
    values = {
        "more": large_volume(more_l, words),
        "whole": large_volume(whole_l, words),
        "day": words.short_day(ahead.days[-1].item()),
    }
    found = [
        words.gettext(
            "If the season goes on as usual, {more} more make {whole} by {day}.", **values
        )
    ]
    if use.limit_volume_l is not None:
        over_l = whole_l - use.limit_volume_l
        volume = large_volume(abs(over_l), words)
        found.append(
            words.gettext("That is {volume} more than may be used.", volume=volume)
            if over_l > 0.0
            else words.gettext("That leaves {volume}.", volume=volume)
        )
    if ahead.basis is AheadBasis.EARLIER_SEASONS:
        found.append(
            words.ngettext(
                "Usual is what the same days of {count} earlier season took.",
                "Usual is the mean of what the same days of {count} earlier seasons took.",
                ahead.season_count,
            )
        )
    else:
        found.append(
            words.gettext(
                "Usual is the crops' use at the place's normal reference ET, without rain: no"
                " earlier season is on record."
            )
        )
    return " ".join(found)
