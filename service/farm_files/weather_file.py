"""Daily weather from a CSV file whose column names carry the units.

A file is taken as a whole or not at all: every bad line is listed with its line number, column and
value. A few numbers that no weather can have cost only their own day and field, and are noted; many
of them refuse the file. A unit is never guessed, because Fahrenheit read as Celsius still looks
like weather; where a whole column looks like another unit the message says which. Values that are
merely unlikely pass:
checking a day against its neighbours is the work of :mod:`service.agronomy.weather_day`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.farm_files.near_words import one_of
from service.farm_files.sheet import (
    MOST_COLUMNS,
    SheetFaults,
    decode_sheet,
    is_missing_code,
    read_number,
    read_sheet,
    split_sheet,
)
from service.farm_files.weather_columns import COLUMN_NAMES, WEATHER_COLUMNS
from service.records.weather import WEATHER_FIELDS

MOST_SPANS_LISTED = 20
IMPOSSIBLE_SHARE = 0.05  # [CHOICE] share of a column's values that may be impossible
IMPOSSIBLE_COUNT = 3  # [CHOICE] as many are let pass even in a short file
DATE_COLUMN = "date"

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_ALLOWED_FILE = (
    "CSV text in UTF-8 or Windows-1252, at most 5 MB, 100,000 lines and 64 columns, with a header "
    "such as date,tmax_c,tmin_c,rhmax_pct,rhmin_pct,wind_m_s,rs_mj_m2,rain_mm"
)


_NOTHING = ("no line with weather", "one line per day under the header")

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
    table = split_sheet(text, faults, allowed=_ALLOWED_FILE, nothing=_NOTHING)
    lines = table.lines
    columns = _read_header(table.header, faults)
    faults.raise_any()
    cells = table.columns()
    days = _read_days(cells[DATE_COLUMN], lines, faults)
    given = {
        column: _read_column(column, cells[name], lines, (faults, notes), has_comma=table.has_comma)
        for name, column in columns.items()
    }
    fields = {name: np.full(len(lines), np.nan) for name in WEATHER_FIELDS}
    for column, values in given.items():
        fields[WEATHER_COLUMNS[column].field] = WEATHER_COLUMNS[column].to_field_unit(values)
        if np.isnan(values).all():
            notes.append(f"column {column} has no value")
    by_field = {WEATHER_COLUMNS[column].field: (column, values) for column, values in given.items()}
    _check_order(by_field, fields, lines, faults, notes)
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


def _read_header(header: Sequence[str], faults: SheetFaults) -> dict[str, str]:
    """The weather columns, by the name they have in the header."""
    if len(header) > MOST_COLUMNS:
        faults.add(0, "", f"{len(header)} columns", f"at most {MOST_COLUMNS} columns")
        return {}
    by_field: dict[str, str] = {}
    columns: dict[str, str] = {}
    for place, name in enumerate(header, 1):
        field = "date" if name == DATE_COLUMN else None
        field = WEATHER_COLUMNS[name].field if name in WEATHER_COLUMNS else field
        if field is None:
            shown = repr(name) if name else f"column {place} without a name"
            faults.add(0, "", shown, one_of(name, (DATE_COLUMN, *COLUMN_NAMES)))
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
    name: str,
    cells: Sequence[str],
    lines: Sequence[int],
    record: tuple[SheetFaults, list[str]],
    *,
    has_comma: bool,
) -> Floats:
    """Values in the column's own unit; NaN where missing, impossible or at fault.

    A season's cells repeat a few hundred values, so each distinct text is read once.
    """
    column = WEATHER_COLUMNS[name]
    faults, notes = record
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
    for cell in sorted(filter(is_missing_code, known)):
        count = cells.count(cell)
        notes.append(f"{name}: {cell.strip()} was read as a missing value, {count:,} times")
    allowed = f"a number from {column.lowest:g} to {column.highest:g}, or nothing{column.advice}"
    is_few = _is_few(is_outside, is_given)
    for place in np.flatnonzero(is_outside).tolist():
        if is_few:
            notes.append(f"line {lines[place]}, {name}: {cells[place]!r} not used, not {allowed}")
        else:
            faults.add(lines[place], name, repr(cells[place]), allowed)
    if unread:
        for place, cell in enumerate(cells):
            if cell in unread:
                comma = "a decimal point, or semicolons between cells; " if "," in cell else ""
                hint = "" if has_comma else comma
                faults.add(lines[place], name, repr(cell), f"{hint}{allowed}")
    values[is_outside] = np.nan
    return values


def _is_few(is_impossible: NDArray[np.bool_], is_given: NDArray[np.bool_]) -> bool:
    """Whether single bad readings may be left out without doubt about the rest."""
    most = max(IMPOSSIBLE_COUNT, IMPOSSIBLE_SHARE * int(is_given.sum()))
    return int(is_impossible.sum()) <= most


# --- what no single cell can tell ----------------------------------------------------------------


def _check_order(
    by_field: Mapping[str, tuple[str, Floats]],
    fields: Mapping[str, Floats],
    lines: Sequence[int],
    faults: SheetFaults,
    notes: list[str],
) -> None:
    """Leave out a pair of values whose lower is above the upper; many of them are a fault."""
    for low, high in _ORDERED_PAIRS:
        if low not in by_field or high not in by_field:
            continue
        (low_name, low_given), (high_name, high_given) = by_field[low], by_field[high]
        low_values = WEATHER_COLUMNS[low_name].to_field_unit(low_given)
        high_values = WEATHER_COLUMNS[high_name].to_field_unit(high_given)
        # A tiny tolerance, for a pair of columns in different units.
        is_swapped = low_values > high_values + 1e-6
        is_few = _is_few(is_swapped, np.isfinite(low_values) & np.isfinite(high_values))
        for place in np.flatnonzero(is_swapped).tolist():
            found = f"{high_name} {high_given[place]:g} with {low_name} {low_given[place]:g}"
            if is_few:
                notes.append(f"line {lines[place]}: {found} not used, since they contradict")
            else:
                faults.add(
                    lines[place], high_name, found, f"{high_name} at least as large as {low_name}"
                )
        for name, values in by_field.values():
            if name in {low_name, high_name}:
                fields[WEATHER_COLUMNS[name].field][is_swapped] = np.nan
                values[is_swapped] = np.nan


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
