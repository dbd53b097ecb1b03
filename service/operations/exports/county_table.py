"""A week's water need of the counties as a table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Final

from service.agronomy.county_need import Basis
from service.operations.exports.columns import NOTES, REFERENCE, InUnits, file_name, known
from service.records.counties import CountyWeek
from service.records.export import Cell, ExportColumn, ExportTable
from service.translations import Wording
from service.translations.catalogue import marked

BASES: Final = {
    Basis.MEASURED: marked("measured"),
    Basis.FORECAST: marked("forecast"),
    Basis.STAND_IN: marked("stand-in"),
}
_NEED = marked("Need")
_NEED_TEXT = marked(
    "Net need is crop use less rain; gross need is what the emitters have to give. The normal is"
    " that of a week with the season's usual reference ET and without rain. A stand-in is the"
    " season's normal, the days around, or a place nearby."
)


def county_table(
    rows: Sequence[CountyWeek],
    words: Wording,
    *,
    span: tuple[date, date],
    week: str,
    reference: str,
    mondays: Sequence[date] | None = None,
) -> ExportTable:
    """A line for each county; ``reference`` says in words for which crop and soil.

    mondays: of each line the first day of its week, where the table has several weeks.
    """
    inside = InUnits(words)
    units = (
        marked("inches and US gallons, as each heading says")
        if inside.is_us
        else marked("millimeters and cubic meters, as each heading says")
    )
    notes = (
        (marked("Week"), f"{week}, {words.span(*span)}"),
        (marked("Reference"), reference),
        (marked("Units"), words.gettext(units)),
        (marked("References"), words.gettext(REFERENCE)),
        (_NEED, words.gettext(_NEED_TEXT)),
    )
    return ExportTable(
        name=file_name("counties", week),
        title=words.gettext(marked("Counties")),
        columns=(*_week_columns(inside, mondays), *_columns(inside)),
        rows=[
            [*([] if mondays is None else [mondays[place]]), *_row(each, inside)]
            for place, each in enumerate(rows)
        ],
        notes=tuple((words.gettext(name), text) for name, text in notes),
        notes_title=words.gettext(NOTES),
    )


def _week_columns(inside: InUnits, mondays: Sequence[date] | None) -> tuple[ExportColumn, ...]:
    return () if mondays is None else (inside.day(marked("Monday")),)


def _columns(inside: InUnits) -> tuple[ExportColumn, ...]:
    return (
        inside.text(marked("County")),
        inside.text(marked("Code")),
        inside.number(marked("Rank")),
        inside.depth(marked("Net need")),
        inside.depth(marked("Net need, more 9 times of 10")),
        inside.depth(marked("Net need, more once of 10")),
        inside.depth(marked("Gross need")),
        inside.depth(marked("Net need of a normal week")),
        inside.depth(marked("Crop use")),
        inside.depth(marked("Rain")),
        inside.depth(marked("Reference ET")),
        inside.number(marked("Reference ET of the normal"), "%"),
        inside.number(marked("Running time"), "h", 1),
        inside.number(marked("Days measured")),
        inside.number(marked("Days forecast")),
        inside.number(marked("Days of a stand-in")),
        inside.text(marked("Rests on")),
        inside.day(marked("Measured until")),
        inside.day(marked("Rain measured until")),
    )


def _row(each: CountyWeek, inside: InUnits) -> list[Cell]:
    low_mm, _, high_mm = each.net_need_band_mm or (math.nan, math.nan, math.nan)
    return [
        each.name,
        each.county_code,
        each.rank or None,
        inside.depth_cell(each.net_need_mm),
        inside.depth_cell(low_mm),
        inside.depth_cell(high_mm),
        inside.depth_cell(each.gross_need_mm),
        inside.depth_cell(each.normal_need_mm),
        inside.depth_cell(each.crop_et_mm),
        inside.depth_cell(each.rain_mm),
        inside.depth_cell(each.reference_et_mm),
        known(each.percent_of_normal),
        known(each.running_h),
        each.measured_days_count,
        each.forecast_days_count,
        each.stand_in_days_count,
        inside.words.gettext(BASES[each.basis]) if each.basis in BASES else None,
        each.observed_until,
        each.rain_until,
    ]
