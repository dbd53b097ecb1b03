"""Daily weather from a CSV file whose column names carry the units.

A file is taken as a whole or not at all: every bad line is listed with its line number, column and
value. A unit is never guessed, because Fahrenheit read as Celsius still looks like weather; where a
whole column looks like another unit the message says which. Values that are merely unlikely pass:
checking a day against its neighbours is the work of :mod:`service.agronomy.weather_day`.
"""

from __future__ import annotations

import csv
import hashlib
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.units import (
    FAHRENHEIT_PER_CELSIUS,
    FREEZING_POINT_F,
    KM_PER_DAY_PER_M_S,
    M_S_PER_MPH,
    MJ_M2_DAY_PER_W_M2,
    MJ_M2_PER_LANGLEY,
    MM_PER_INCH,
)
from service.farm_files.sheet import (
    DELIMITERS,
    MOST_COLUMNS,
    MOST_LINES,
    SheetFaults,
    decode_sheet,
    read_number,
    read_sheet,
)
from service.records.weather import WEATHER_FIELDS

MOST_SPANS_LISTED = 20
DATE_COLUMN = "date"

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_ALLOWED_FILE = (
    "CSV text in UTF-8 or Windows-1252, at most 5 MB, 100,000 lines and 64 columns, with a header "
    "such as date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """One way to give a quantity: its field, its unit and its physically possible range."""

    field: str
    lowest: float
    highest: float
    """In the column's own unit."""
    to_field_unit: Callable[[Floats], Floats] = lambda values: values
    suspect_median: float = math.inf
    """Above this median the column is in another unit."""
    suspect: str = ""
    advice: str = ""


def _scaled(factor: float) -> Callable[[Floats], Floats]:
    return lambda values: values * factor


def _celsius(values: Floats) -> Floats:
    return (values - FREEZING_POINT_F) / FAHRENHEIT_PER_CELSIUS


def _temperatures(quantity: str) -> dict[str, _Column]:
    field = f"{quantity}_c"
    return {
        field: _Column(
            field=field,
            lowest=-60.0,
            highest=60.0,
            suspect_median=55.0,
            suspect=f"degrees Fahrenheit; then name the column {quantity}_f",
        ),
        f"{quantity}_f": _Column(
            field=field,
            lowest=-76.0,
            highest=140.0,
            to_field_unit=_celsius,
            suspect_median=150.0,
            suspect=f"kelvin; convert it and name the column {field}",
        ),
    }


_COLUMNS: Mapping[str, _Column] = {
    **_temperatures("tmax"),
    **_temperatures("tmin"),
    **_temperatures("tdew"),
    # A saturated day at 45 degC has 9.6 kPa; hectopascals are ten times as many.
    "ea_kpa": _Column(
        field="ea_kpa",
        lowest=0.0,
        highest=10.0,
        suspect_median=5.0,
        suspect="hectopascals; divide by 10",
    ),
    **{
        f"{field}_pct": _Column(field=f"{field}_pct", lowest=0.0, highest=105.0)
        for field in ("rhmax", "rhmin", "rhmean")
    },
    "wind_m_s": _Column(
        field="wind_m_s",
        lowest=0.0,
        highest=60.0,
        suspect_median=25.0,
        suspect="kilometres a day or miles an hour; then name the column wind_km_d or wind_mph",
    ),
    "wind_mph": _Column(
        field="wind_m_s",
        lowest=0.0,
        highest=134.0,
        to_field_unit=_scaled(M_S_PER_MPH),
        suspect_median=56.0,
        suspect="kilometres a day; then name the column wind_km_d",
    ),
    "wind_km_d": _Column(
        field="wind_m_s",
        lowest=0.0,
        highest=5184.0,
        to_field_unit=_scaled(1.0 / KM_PER_DAY_PER_M_S),
    ),
    "rs_mj_m2": _Column(
        field="rs_mj_m2",
        lowest=0.0,
        highest=50.0,
        suspect_median=45.0,
        suspect="W/m2 or langleys; then name the column rs_w_m2 or rs_langley",
    ),
    # Mean of 24 hours: 86,400 s of 1 W/m2 are 0.0864 MJ/m2.
    "rs_w_m2": _Column(
        field="rs_mj_m2",
        lowest=0.0,
        highest=578.0,
        to_field_unit=_scaled(MJ_M2_DAY_PER_W_M2),
        suspect_median=500.0,
        suspect="the mean of the daylight hours or langleys; give the mean of 24 hours",
    ),
    # 1 langley = 1 cal/cm2 = 41,840 J/m2 (thermochemical calorie).
    "rs_langley": _Column(
        field="rs_mj_m2", lowest=0.0, highest=1195.0, to_field_unit=_scaled(MJ_M2_PER_LANGLEY)
    ),
    "sunshine_h": _Column(
        field="sunshine_h",
        lowest=0.0,
        highest=24.0,
        suspect_median=24.0,
        suspect="minutes; divide by 60",
    ),
    "rain_mm": _Column(field="rain_mm", lowest=0.0, highest=1000.0, advice="; write a trace as 0"),
    "rain_in": _Column(
        field="rain_mm",
        lowest=0.0,
        highest=39.3,
        to_field_unit=_scaled(MM_PER_INCH),
        advice="; write a trace as 0",
    ),
    "rain_probability_pct": _Column(
        field="rain_probability_fraction",
        lowest=0.0,
        highest=100.0,
        to_field_unit=_scaled(0.01),
    ),
}
COLUMN_NAMES: tuple[str, ...] = tuple(_COLUMNS)
"""Every column a weather file may have in addition to ``date``."""

_ORDERED_PAIRS = (("tmin_c", "tmax_c"), ("rhmin_pct", "rhmax_pct"))
"""Pairs of fields whose first cannot exceed the second on any day."""


@dataclass(frozen=True, slots=True, eq=False)
class WeatherFile:
    """The days of one file, rising and without repeats."""

    days: Days
    """(days,) local calendar dates."""
    fields: Mapping[str, Floats]
    """One array (days,) per name of ``WEATHER_FIELDS``; NaN where the file has no value."""
    columns_found: tuple[str, ...]
    """The columns as the file names them, without the date."""
    sha256: str
    """Of the bytes of the file, hexadecimal."""
    notes: tuple[str, ...] = ()
    """What was corrected or left open: order, repeated lines, gaps, empty columns."""


def read_weather_file(path: Path) -> WeatherFile:
    """The days of a weather file; raises WeatherInvalid."""
    content = read_sheet(path, allowed=_ALLOWED_FILE)
    return parse_weather(content, name=path.name)


def parse_weather(content: bytes, *, name: str) -> WeatherFile:
    """The days in the bytes of a weather file, which messages call ``name``.

    The same bytes give the same result. Raises WeatherInvalid with every fault found.
    """
    faults = SheetFaults(name)
    notes: list[str] = []
    text = decode_sheet(content, faults, notes, allowed=_ALLOWED_FILE)
    header, lines, rows, delimiter = _split(text, faults)
    columns = _read_header(header, faults)
    faults.raise_any()
    cells = dict(zip(header, zip(*rows, strict=True), strict=True))
    days = _read_days(cells[DATE_COLUMN], lines, faults)
    given = {
        column: _read_column(column, cells[name], lines, faults, has_comma=delimiter == ";")
        for name, column in columns.items()
    }
    fields = {name: np.full(len(lines), np.nan) for name in WEATHER_FIELDS}
    for column, values in given.items():
        fields[_COLUMNS[column].field] = _COLUMNS[column].to_field_unit(values)
        if np.isnan(values).all():
            notes.append(f"column {column} has no value")
    by_field = {_COLUMNS[column].field: (column, values) for column, values in given.items()}
    _check_order(by_field, lines, faults)
    keep = _unique_order(days, given, lines, faults, notes)
    faults.raise_any()
    days = days[keep]
    notes += _gap_notes(days)
    return WeatherFile(
        days=days,
        fields={name: values[keep] for name, values in fields.items()},
        columns_found=tuple(given),
        sha256=hashlib.sha256(content).hexdigest(),
        notes=tuple(notes),
    )


# --- bytes to cells ----------------------------------------------------------------------------


def _split(text: str, faults: SheetFaults) -> tuple[list[str], list[int], list[list[str]], str]:
    """Header, then line number and cells of each row, and the delimiter."""
    physical = text.splitlines(keepends=True)
    if len(physical) > MOST_LINES + 1:
        faults.add(0, "", f"{len(physical):,} lines", _ALLOWED_FILE)
    first = next(
        (place for place, line in enumerate(physical) if line.strip() and line[:1] != "#"), None
    )
    if first is None:
        faults.add(0, "", "an empty file", _ALLOWED_FILE)
    faults.raise_any()
    skipped = first or 0
    top = physical[skipped]
    if top.lstrip('"').startswith("TOA5"):
        faults.add(
            skipped + 1,
            "",
            "a logger table (TOA5)",
            "one header line with our column names and one line per civil day; a logger stamps "
            "midnight at the end of the day, so its 00:00 belongs to the day before",
        )
    delimiter = max(DELIMITERS, key=top.count)
    if delimiter not in top:
        faults.add(
            skipped + 1, "", repr(top.rstrip()), f"a header with delimiters; {_ALLOWED_FILE}"
        )
    faults.raise_any()
    # Comments stay outside: a quote in one would swallow the lines after it.
    reader = csv.reader(physical[skipped:], delimiter=delimiter, strict=True)
    lines: list[int] = []
    rows: list[list[str]] = []
    header: list[str] = []
    try:
        for row in reader:
            if not any(cell.strip() for cell in row):
                continue
            if not header:
                header = [cell.strip().lower() for cell in row]
            elif len(row) == len(header):
                lines.append(skipped + reader.line_num)
                rows.append(row)
            else:
                faults.add(
                    skipped + reader.line_num,
                    "",
                    f"{len(row)} cells",
                    f"{len(header)} cells, as many as the header has, between "
                    f"{DELIMITERS[delimiter]}",
                )
    except csv.Error as error:
        faults.add(skipped + reader.line_num, "", str(error), "CSV with quotes that are closed")
    if not rows:
        faults.add(0, "", "no line with weather", "one line per day under the header")
    return header, lines, rows, delimiter


def _read_header(header: Sequence[str], faults: SheetFaults) -> dict[str, str]:
    """The weather columns, by the name they have in the header."""
    if len(header) > MOST_COLUMNS:
        faults.add(0, "", f"{len(header)} columns", f"at most {MOST_COLUMNS} columns")
        return {}
    by_field: dict[str, str] = {}
    columns: dict[str, str] = {}
    for place, name in enumerate(header, 1):
        field = "date" if name == DATE_COLUMN else None
        field = _COLUMNS[name].field if name in _COLUMNS else field
        if field is None:
            close = get_close_matches(name, (DATE_COLUMN, *COLUMN_NAMES), n=3)
            near = f"did you mean {' or '.join(close)}; " if close else ""
            shown = repr(name) if name else f"column {place} without a name"
            faults.add(0, "", shown, f"{near}columns date, {', '.join(COLUMN_NAMES)}")
        elif field in by_field:
            faults.add(
                0,
                name,
                f"{by_field[field]} and {name}",
                "one column for one quantity; leave one of them out",
            )
        else:
            by_field[field] = name
            if name != DATE_COLUMN:
                columns[name] = name
    if "date" not in by_field:
        faults.add(0, "", f"columns {', '.join(header)}", "a column named date")
    elif not columns:
        faults.add(0, "", "a date alone", f"one or more of {', '.join(COLUMN_NAMES)}")
    return columns


# --- cells to numbers --------------------------------------------------------------------------


def _read_days(cells: Sequence[str], lines: Sequence[int], faults: SheetFaults) -> Days:
    known: dict[str, date | None] = {}
    for cell in set(cells):
        text = cell.strip()
        try:
            day = date.fromisoformat(text) if _DATE.fullmatch(text) else None
        except ValueError:
            day = None
        known[cell] = day if day is not None and 1850 <= day.year <= 2200 else None
    for line, cell in zip(lines, cells, strict=True):
        if known[cell] is None:
            faults.add(
                line,
                DATE_COLUMN,
                repr(cell),
                "a date as YYYY-MM-DD without a time, such as 2026-07-06, years 1850 to 2200",
            )
    return np.array([known[cell] for cell in cells], dtype="datetime64[D]")


def _read_column(
    name: str, cells: Sequence[str], lines: Sequence[int], faults: SheetFaults, *, has_comma: bool
) -> Floats:
    """Values in the column's own unit; NaN where missing or at fault.

    A season's cells repeat a few hundred values, so each distinct text is read once.
    """
    column = _COLUMNS[name]
    known = {cell: read_number(cell, has_comma=has_comma) for cell in set(cells)}
    unread = {cell for cell, value in known.items() if value is None}
    values = np.array([known[cell] for cell in cells], dtype=np.float64)
    is_given = ~np.isnan(values)
    if is_given.any() and (median := float(np.median(values[is_given]))) > column.suspect_median:
        faults.add(
            0,
            name,
            f"values around {median:g}",
            f"values from {column.lowest:g} to {column.highest:g}; these look like "
            f"{column.suspect}",
        )
        is_given[:] = False
    is_outside = is_given & ((values < column.lowest) | (values > column.highest))
    if not unread and not is_outside.any():
        return values
    allowed = f"a number from {column.lowest:g} to {column.highest:g}, or nothing{column.advice}"
    for place, cell in enumerate(cells):
        if cell in unread or is_outside[place]:
            comma = "a decimal point, or semicolons between cells; " if "," in cell else ""
            faults.add(lines[place], name, repr(cell), f"{'' if has_comma else comma}{allowed}")
    values[is_outside] = np.nan
    return values


# --- what no single cell can tell ----------------------------------------------------------------


def _check_order(
    by_field: Mapping[str, tuple[str, Floats]], lines: Sequence[int], faults: SheetFaults
) -> None:
    for low, high in _ORDERED_PAIRS:
        if low not in by_field or high not in by_field:
            continue
        (low_name, low_given), (high_name, high_given) = by_field[low], by_field[high]
        low_values = _COLUMNS[low_name].to_field_unit(low_given)
        high_values = _COLUMNS[high_name].to_field_unit(high_given)
        # A tiny tolerance, for a pair of columns in different units.
        for place in np.flatnonzero(low_values > high_values + 1e-6).tolist():
            faults.add(
                lines[place],
                high_name,
                f"{high_name} {high_given[place]:g} with {low_name} {low_given[place]:g}",
                f"{high_name} at least as large as {low_name}",
            )


def _unique_order(
    days: Days,
    given: Mapping[str, Floats],
    lines: Sequence[int],
    faults: SheetFaults,
    notes: list[str],
) -> Ints:
    """Indices of the rows to keep, in order of days; identical repeats are kept once."""
    order = np.argsort(days, kind="stable")
    if np.any(np.diff(days[~np.isnat(days)]) < np.timedelta64(0, "D")):
        notes.append("the lines were not in order of days; they were sorted")
    same_day = np.concatenate(([False], days[order][1:] == days[order][:-1]))
    repeats = 0
    for place in np.flatnonzero(same_day).tolist():
        this, before = int(order[place]), int(order[place - 1])
        differing = [
            name
            for name, values in given.items()
            if not np.array_equal(values[this], values[before], equal_nan=True)
        ]
        if not differing:
            repeats += 1
            continue
        faults.add(
            lines[this],
            DATE_COLUMN,
            f"{days[this]}, also in line {lines[before]} with another {', '.join(differing)}",
            "each day once",
        )
    if repeats:
        notes.append(f"{repeats:,} repeated line{'s' if repeats > 1 else ''} with equal values")
    return order[~same_day]


def _gap_notes(days: Days) -> list[str]:
    steps = np.diff(days) / np.timedelta64(1, "D")
    gaps = np.flatnonzero(steps > 1.0)
    if not gaps.size:
        return []
    dates: list[date] = days.tolist()
    spans = []
    for place in gaps[:MOST_SPANS_LISTED]:
        first = dates[place] + timedelta(days=1)
        last = dates[place + 1] - timedelta(days=1)
        spans.append(f"{first}" if first == last else f"{first} to {last}")
    more = gaps.size - len(spans)
    missing = int(steps.sum()) - steps.size
    note = f"{missing:,} day{'s' if missing > 1 else ''} missing: {', '.join(spans)}"
    return [f"{note} and {more:,} more spans" if more else note]
