"""What the page of the counties says of a week: the finding, the bars, the weeks before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from service.agronomy.county_need import Basis
from service.delivery.spread_words import need_band_words
from service.drawing.frame import axis_end, most_of
from service.drawing.need_bars import NeedBar, need_bars
from service.drawing.need_scale import need_class
from service.drawing.need_weeks import NeedWeek, WeekScale, need_weeks
from service.pages.county_choice import DAYS_PER_WEEK
from service.pages.county_scale import (
    class_marks,
    need_class_width,
    scale_mark,
    short_unit,
    shown_need,
)
from service.records.counties import CountyWeek
from service.translations import Wording

MOST_NAMED = 4
"""Stand-ins that are named one by one."""
MOST_IN_SUMMARY = 60


@dataclass(frozen=True, slots=True)
class CountyCourse:
    """The weeks of one county, drawn."""

    name: str
    is_stand_in: bool
    drawn: Markup


def in_order(rows: Sequence[CountyWeek]) -> list[CountyWeek]:
    """The largest need first, what is not known last."""
    return sorted(rows, key=lambda row: (row.rank or math.inf, row.name))


def findings(rows: Sequence[CountyWeek], words: Wording) -> tuple[str, str]:
    """What the week comes to, in a first sentence and the rest; both empty if nothing is known.

    ``rows`` are in order of need.
    """
    ranked = [row for row in rows if row.rank]
    if not ranked:
        return "", ""
    most, least = ranked[0], ranked[-1]
    if shown_need(most.net_need_mm, words) == 0.0:
        return words.gettext("No county needs irrigation in this week."), ""
    first = words.gettext(
        "{county} needs most: {depth}.", county=most.name, depth=words.depth(most.net_need_mm)
    )
    band = need_band_words(most, words)
    rest = [band] if band else []
    if math.isfinite(most.normal_need_mm):
        rest.append(
            words.gettext(
                "A normal week without rain needs {depth} there.",
                depth=words.depth(most.normal_need_mm),
            )
        )
    if shown_need(least.net_need_mm, words) < shown_need(most.net_need_mm, words):
        named = {"county": least.name, "depth": words.depth(least.net_need_mm)}
        rest.append(
            words.gettext(
                "{county} needs least: {depth}, with {rain} of rain.",
                rain=words.depth(least.rain_mm),
                **named,
            )
            if least.rain_mm > 0.0
            else words.gettext("{county} needs least: {depth}.", **named)
        )
    return first, " ".join(rest)


def stand_ins(rows: Sequence[CountyWeek], words: Wording) -> list[str]:
    """Which counties rest on values that are not of the day and the place."""
    found = [row for row in rows if row.basis is Basis.STAND_IN]
    if len(found) > MOST_NAMED:
        return [
            words.ngettext(
                "{count} county rests on stand-ins for some days.",
                "{count} counties rest on stand-ins for some days. They are hatched.",
                len(found),
            )
        ]
    said = []
    for row in found:
        text = words.gettext(
            "{county}: {count} of {days} days are the season's normal, the days around or a place "
            "nearby.",
            county=row.name,
            count=row.stand_in_days_count,
            days=DAYS_PER_WEEK,
        )
        if row.observed_until is not None:
            text += " " + words.gettext(
                "Measured up to {day}.", day=words.short_day(row.observed_until)
            )
        said.append(text)
    return said


def ranking(title: str, rows: Sequence[CountyWeek], words: Wording) -> Markup:
    """The bars of the week; ``rows`` are in order of need."""
    bars = [
        NeedBar(
            rank=str(row.rank or "?"),
            name=row.name,
            need=shown_need(row.net_need_mm, words),
            shown=words.bare_depth(row.net_need_mm),
            normal=shown_need(row.normal_need_mm, words),
            hours=words.gettext("{hours} h", hours=words.number(row.running_h, 1)),
            rests_on=_rests_on(row, words),
            is_stand_in=row.basis is Basis.STAND_IN,
        )
        for row in rows
    ]
    return need_bars(
        title,
        _summary(rows, words),
        bars,
        class_width=need_class_width(rows, words),
        marks=class_marks(rows, words),
    )


def courses(
    rows: Sequence[CountyWeek], weeks: Sequence[tuple[date, Sequence[CountyWeek]]], words: Wording
) -> list[CountyCourse]:
    """Each county's weeks on one scale; ``weeks`` are the latest first, by their Mondays."""
    by_code = [{row.county_code: row for row in week} for _, week in reversed(weeks)]
    first, latest = weeks[-1][0], weeks[0][0]
    ends = (words.yearly_day(first.month, first.day), words.yearly_day(latest.month, latest.day))
    of_county = {
        row.county_code: [
            NeedWeek(
                shown_need(week[row.county_code].net_need_mm, words),
                shown_need(week[row.county_code].normal_need_mm, words),
                week[row.county_code].basis is Basis.STAND_IN,
            )
            for week in by_code
        ]
        for row in rows
    }
    every = [week for course in of_county.values() for week in course]
    top = axis_end(most_of([each for week in every for each in (week.need, week.normal)]))
    scale = WeekScale(top=top, mark=f"{scale_mark(top, words)} {short_unit(words)}", ends=ends)
    width = need_class_width(rows, words)
    found = []
    for place, row in enumerate(rows):
        shown = words.bare_depth(row.net_need_mm)
        drawn = need_weeks(
            words.gettext("{county}, week by week", county=row.name),
            words.gettext(
                "Net need in the last of {count} weeks: {depth}. The table below has all of them.",
                count=len(weeks),
                depth=words.depth(row.net_need_mm),
            ),
            of_county[row.county_code],
            scale=scale,
            last=(need_class(shown_need(row.net_need_mm, words), width), shown),
            name=f"w{place}",
        )
        found.append(CountyCourse(row.name, row.basis is Basis.STAND_IN, drawn))
    return found


def _rests_on(row: CountyWeek, words: Wording) -> str:
    """Rain, and how many days of the week are measured, forecast or stand in."""
    measured, forecast = row.measured_days_count, row.forecast_days_count
    stand_in = row.stand_in_days_count
    unknown = DAYS_PER_WEEK - measured - forecast - stand_in
    parts = [
        measured and words.ngettext("{count} measured", "{count} measured", measured),
        forecast and words.ngettext("{count} forecast", "{count} forecast", forecast),
        stand_in and words.ngettext("{count} stand-in", "{count} stand-ins", stand_in),
        unknown and words.ngettext("{count} not known", "{count} not known", unknown),
    ]
    return words.gettext(
        "rain {rain}; days: {days}",
        rain=words.depth(row.rain_mm),
        days=", ".join(part for part in parts if part),
    )


def _summary(rows: Sequence[CountyWeek], words: Wording) -> str:
    return "; ".join(f"{row.name} {words.depth(row.net_need_mm)}" for row in rows[:MOST_IN_SUMMARY])
