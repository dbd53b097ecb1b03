"""A grower's own station: our interval or daily template, or a logger's table of four header lines.

What a file cannot say must be given once and is then remembered for the site: the clock of the
logger, which end of an interval a time names, the height of the anemometer, whether radiation is a
mean or a total, and which column is what. If something is not known, the file is refused with the
question; nothing is guessed.

A file is taken as a whole or not at all, and every line that cannot be read is listed. What can be
read but is odd (out of order, repeated, in the future, stuck, out of range) is flagged line by
line; a value out of range and a line in the future are not used.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from service.agronomy.civil_day import midnight_utc, zone_rules
from service.agronomy.records import Floats, Ints
from service.agronomy.station_day import find_stuck
from service.errors import InputInvalid
from service.farm_files.near_words import one_of
from service.farm_files.sheet import (
    DELIMITERS,
    MOST_COLUMNS,
    MOST_LINES,
    TIME_COLUMN,
    SheetFaults,
    decode_sheet,
    header_cells,
    is_logger_table,
    read_number,
    read_sheet,
)
from service.farm_files.station_columns import STATION_COLUMNS, recognise
from service.farm_files.weather_file import DATE_COLUMN, parse_weather
from service.records.weather import STATION_FIELDS, StationIntervals, StationSetup

LEFT_ASIDE = "-"
"""Given instead of a column's name for a column that must not be used."""
FUTURE_SLACK_S = 900
"""How far a logger's clock may be ahead."""
LONGEST_STEP_S = 3 * 3600
DAY_S = 86_400
TEMPERATURES = ("temperature_c", "tmax_c", "tmin_c", "tdew_c")
FEWEST_MAXIMA = 3
"""Days from which on a temperature is judged by the median of the days' maxima."""
HOUR = timedelta(hours=1)

_STAMP = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[ T]([0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.0*)?)?)")
_OFFSET = re.compile(r"([+-])([0-9]{2}):([0-9]{2})")
_ALLOWED_FILE = (
    "CSV text in UTF-8 or Windows-1252, at most 5 MB, 100,000 lines and 64 columns: a header that"
    f" begins with {TIME_COLUMN} or {DATE_COLUMN}, or a logger's table with its four header lines"
)
_ALLOWED_STAMP = "a time as YYYY-MM-DD HH:MM or HH:MM:SS, without an offset"


@dataclass(frozen=True, slots=True)
class LineFlag:
    """Something odd that did not stop the file."""

    line: int
    last_line: int
    """The same line, except for a stuck sensor."""
    column: str
    """Empty: the whole line."""
    word: str
    """``backwards``, ``repeated``, ``future``, ``irregular``, ``out-of-range``, ``rollover``,
    ``after-gap`` or ``stuck``."""
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class StationFile:
    """The intervals of one file."""

    intervals: StationIntervals
    setup: StationSetup
    """What the file was read with, to be remembered."""
    columns: Mapping[str, str]
    """What each used column was recognised as."""
    step_min: float
    sha256: str
    """Of the bytes of the file, hexadecimal."""
    flags: tuple[LineFlag, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Table:
    """A file as cells, and what was found on the way."""

    name: str
    faults: SheetFaults
    setup: StationSetup
    zone: str
    """Of the site."""
    header: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    ways: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    has_comma: bool = False
    is_logger: bool = False
    flags: list[LineFlag] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def flag(self, place: int, column: str, word: str, text: str) -> None:
        """Flag the row at a place."""
        line = self.lines[place]
        self.flags.append(LineFlag(line, line, column, word, text))

    def ask(self, what: str, allowed: str, *, column: str = "") -> None:
        """Refuse the file, with a question."""
        self.faults.add(0, column, what, allowed)


def read_station_file(path: Path, *, setup: StationSetup, zone: str, now: datetime) -> StationFile:
    """The intervals of a station's file; raises WeatherInvalid."""
    content = read_sheet(path, allowed=_ALLOWED_FILE)
    return parse_station(content, name=path.name, setup=setup, zone=zone, now=now)


def parse_station(
    content: bytes, *, name: str, setup: StationSetup, zone: str, now: datetime
) -> StationFile:
    """The intervals in the bytes of a station's file, which messages call ``name``.

    ``setup`` is what is known of the station, ``zone`` that of the site, where a day is a civil day
    of it. The same bytes and setup give the same result, except for lines later than ``now``.
    Raises WeatherInvalid with every fault and every question found.
    """
    check_setup(setup)
    table = _Table(name=name, faults=SheetFaults(name), setup=setup, zone=zone)
    text = decode_sheet(content, table.faults, table.notes, allowed=_ALLOWED_FILE)
    sha256 = hashlib.sha256(content).hexdigest()
    if _is_daily_template(text):
        return _daily_template(content, table, now, sha256)
    _split(text, table)
    columns = _choose_columns(table)
    _ask_for_setup(table, columns)
    table.faults.raise_any()
    stamps = _read_stamps(table)
    values = {label: _read_values(table, label, name) for label, name in columns.items()}
    table.faults.raise_any()
    keep = _order(table, stamps, values)
    table.lines = [table.lines[place] for place in keep.tolist()]
    stamps = stamps[keep]
    values = {label: column[keep] for label, column in values.items()}
    step_s, starts, ends = _intervals(table, stamps)
    table.faults.raise_any()
    fields = _fields(table, columns, values, starts, ends)
    _check_medians(table, columns, values, starts)
    _flag_stuck(table, starts, ends, fields)
    is_past = _not_future(table, ends, now)
    table.faults.raise_any()
    _note_gaps(table, starts, ends)
    return StationFile(
        intervals=StationIntervals(
            start_epoch_s=starts[is_past],
            end_epoch_s=ends[is_past],
            fields={name: column[is_past] for name, column in fields.items()},
        ),
        setup=_with_units(table),
        columns=columns,
        step_min=step_s / 60.0,
        sha256=sha256,
        flags=tuple(sorted(table.flags, key=lambda flag: (flag.line, flag.word, flag.column))),
        notes=tuple(table.notes),
    )


def check_setup(setup: StationSetup) -> None:
    """Raise WeatherInvalid for an impossible setup."""
    faults = SheetFaults("station setup")
    if setup.clock is not None and _fixed_offset_s(setup.clock) is None:
        try:
            zone_rules(setup.clock)
        except InputInvalid:
            faults.add(
                0,
                "clock",
                repr(setup.clock),
                "an offset from -14:00 to +14:00 such as -06:00, or a zone such as America/Chicago",
            )
    if setup.stamp not in (None, "start", "end"):
        faults.add(0, "stamp", repr(setup.stamp), "start or end")
    if setup.radiation not in (None, "w-m2", "mj-m2"):
        faults.add(0, "radiation", repr(setup.radiation), "w-m2 (mean) or mj-m2 (total)")
    if setup.wind_height_m is not None and not 0.5 <= setup.wind_height_m <= 200.0:
        faults.add(0, "wind height", f"{setup.wind_height_m:g} m", "0.5 to 200 m")
    for label, name in setup.columns.items():
        if name != LEFT_ASIDE and name not in STATION_COLUMNS:
            faults.add(0, label, repr(name), one_of(name, (LEFT_ASIDE, *STATION_COLUMNS)))
    faults.raise_any()


# --- bytes to cells ------------------------------------------------------------------------------


def _is_daily_template(text: str) -> bool:
    """Whether the header, the first line that is no comment, has a column of dates."""
    lines = text.splitlines()
    header = next((at for at, line in enumerate(lines) if line.strip() and line[:1] != "#"), 0)
    cells = header_cells("".join(lines[header : header + 1]))
    return DATE_COLUMN in cells and TIME_COLUMN not in cells and not is_logger_table(lines[header:])


def _split(text: str, table: _Table) -> None:
    physical = text.splitlines(keepends=True)
    if len(physical) > MOST_LINES + 4:
        table.faults.add(0, "", f"{len(physical):,} lines", _ALLOWED_FILE)
    skipped = next(
        (place for place, line in enumerate(physical) if line.strip() and line[:1] != "#"), None
    )
    if skipped is None:
        table.faults.add(0, "", "an empty file", _ALLOWED_FILE)
    table.faults.raise_any()
    skipped = skipped or 0
    table.is_logger = is_logger_table(physical[skipped:])
    top = physical[skipped + 1 if table.is_logger else skipped]
    delimiter = max(DELIMITERS, key=top.count)
    table.has_comma = delimiter == ";"
    header_count = 4 if table.is_logger else 1
    reader = csv.reader(physical[skipped:], delimiter=delimiter, strict=True)
    heads: list[list[str]] = []
    try:
        for row in reader:
            if len(heads) < header_count:
                heads.append([cell.strip() for cell in row])
            elif not any(cell.strip() for cell in row):
                continue
            elif len(row) != len(heads[-3 if table.is_logger else 0]):
                table.faults.add(
                    skipped + reader.line_num,
                    "",
                    f"{len(row)} cells",
                    f"{len(heads[-3 if table.is_logger else 0])} cells, as many as the header has,"
                    f" between {DELIMITERS[delimiter]}",
                )
            else:
                table.lines.append(skipped + reader.line_num)
                table.rows.append(row)
    except csv.Error as error:
        table.faults.add(
            skipped + reader.line_num, "", str(error), "CSV with quotes that are closed"
        )
    if not table.rows:
        table.faults.add(0, "", "no line with weather", "one line per interval under the header")
    table.faults.raise_any()
    if table.is_logger:
        table.header, table.units, table.ways = (
            heads[1],
            *([*cells, *[""] * len(heads[1])][: len(heads[1])] for cells in heads[2:4]),
        )
    else:
        table.header = [cell.lower() for cell in heads[0]]
    _check_header(table)
    table.faults.raise_any()


def _check_header(table: _Table) -> None:
    if len(table.header) > MOST_COLUMNS:
        table.faults.add(0, "", f"{len(table.header)} columns", f"at most {MOST_COLUMNS} columns")
    for label, count in Counter(table.header).items():
        if count > 1:
            table.faults.add(0, label, f"{count} columns of this name", "each column once")
    if TIME_COLUMN not in [label.lower() for label in table.header]:
        table.faults.add(
            0, "", f"columns {', '.join(table.header)}", f"a column named {TIME_COLUMN}"
        )


# --- which column is what ------------------------------------------------------------------------


def _choose_columns(table: _Table) -> dict[str, str]:
    """Our name of every column that is used, by the column's own name."""
    chosen: dict[str, str] = {}
    aside: list[str] = []
    for place, label in enumerate(table.header):
        if label.lower() == TIME_COLUMN:
            continue
        name = _meaning(table, place, label)
        if name is None:
            aside.append(label)
        else:
            chosen[label] = name
    _choose_radiation(table, chosen, aside)
    by_field: dict[str, list[str]] = {}
    for label, name in chosen.items():
        by_field.setdefault(STATION_COLUMNS[name].field, []).append(label)
    for found, labels in by_field.items():
        if len(labels) > 1:
            table.ask(
                " and ".join(labels),
                f"one column for {found}; --column NAME=- leaves one aside",
            )
    if not chosen:
        table.ask(
            f"columns {', '.join(table.header)}",
            f"one or more of {', '.join(STATION_COLUMNS)}"
            + ("; --column NAME=OURS says which" if table.is_logger else ""),
        )
    if aside:
        table.notes.append(f"left aside: {', '.join(aside)}")
    return chosen


def _meaning(table: _Table, place: int, label: str) -> str | None:
    given = table.setup.columns.get(label, table.setup.columns.get(_remembered_as(table, place)))
    if given is not None:
        return None if given == LEFT_ASIDE else given
    if not table.is_logger:
        if label in STATION_COLUMNS:
            return label
        table.faults.add(0, "", repr(label), one_of(label, (TIME_COLUMN, *STATION_COLUMNS)))
        return None
    found = recognise(label, table.units[place], table.ways[place])
    if found.question:
        table.ask(
            found.question,
            f"--column {label}=OURS with one of {', '.join(STATION_COLUMNS)}, or =- to leave it"
            " aside",
            column=label,
        )
    return found.name


def _choose_radiation(table: _Table, chosen: dict[str, str], aside: list[str]) -> None:
    """Keep the radiation columns of the station's kind."""
    kinds = {
        label: kind
        for label, name in chosen.items()
        if (kind := STATION_COLUMNS[name].radiation) is not None
    }
    wanted = table.setup.radiation
    if wanted is None or not kinds:
        return
    if wanted not in kinds.values():
        label = next(iter(kinds))
        table.ask(
            f"{chosen[label]}, but the station's radiation is {wanted}",
            f"a column of that kind, or --radiation {kinds[label]}",
            column=label,
        )
        return
    for label, kind in kinds.items():
        if kind != wanted:
            del chosen[label]
            aside.append(label)


def _ask_for_setup(table: _Table, columns: Mapping[str, str]) -> None:
    """Ask for whatever is neither given nor remembered."""
    if table.setup.clock is None:
        table.ask(
            "no clock",
            "--clock-offset such as -06:00 for a logger that keeps one time all year, or --zone"
            " such as America/Chicago for one that changes with summer time",
        )
    if table.setup.stamp is None:
        table.ask(
            "not stated which end of its interval a time names",
            "--stamp end, as most loggers do, or --stamp start",
        )
    _ask_for_sensors(table, [STATION_COLUMNS[name].field for name in columns.values()])


def _remembered_as(table: _Table, place: int) -> str:
    """A column under its unit: in another unit it is another column, and is asked about again."""
    return f"{table.header[place]} [{table.units[place] if table.is_logger else ''}]"


def _with_units(table: _Table) -> StationSetup:
    """The setup to remember: the choices for this file's columns, keyed with their units."""
    columns = dict(table.setup.columns)
    for place, label in enumerate(table.header):
        if label in columns:
            columns[_remembered_as(table, place)] = columns.pop(label)
    return replace(table.setup, columns=columns)


def _ask_for_sensors(table: _Table, fields: Sequence[str]) -> None:
    if "wind_m_s" in fields and table.setup.wind_height_m is None:
        table.ask("wind without the anemometer's height", "--wind-height in meters, such as 2")
    if "rs_mj_m2" in fields and table.setup.radiation is None:
        table.ask(
            "radiation of an unknown kind",
            "--radiation w-m2 for means in W/m2, or mj-m2 for totals in MJ/m2",
        )


# --- times ---------------------------------------------------------------------------------------


def _read_stamps(table: _Table) -> Ints:
    """Instant of each row, seconds since 1970 UTC, in the order of the file."""
    place = [label.lower() for label in table.header].index(TIME_COLUMN)
    walls: list[datetime | None] = []
    for line, row in zip(table.lines, table.rows, strict=True):
        wall = _read_wall(row[place])
        if wall is None:
            table.faults.add(line, table.header[place], repr(row[place]), _ALLOWED_STAMP)
        walls.append(wall)
    known = [wall for wall in walls if wall is not None]
    if len(known) < len(walls):
        return np.zeros(len(walls), dtype=np.int64)
    clock = table.setup.clock or "UTC"
    offset_s = _fixed_offset_s(clock)
    if offset_s is None:
        return _zone_instants(table, known, clock)
    wall_s = np.array(known, dtype="datetime64[s]").astype(np.int64)
    found: Ints = wall_s - offset_s
    return found


def _read_wall(cell: str) -> datetime | None:
    match = _STAMP.fullmatch(cell.strip())
    if match is None:
        return None
    clock = match[2].partition(".")[0].zfill(5)
    # Some loggers call midnight the end of the day.
    is_end = clock in ("24:00", "24:00:00")
    try:
        wall = datetime.fromisoformat(f"{match[1]} {'00:00' if is_end else clock}")
    except ValueError:
        return None
    if not 1850 <= wall.year <= 2200:
        return None
    return wall + timedelta(days=1) if is_end else wall


def _fixed_offset_s(clock: str) -> int | None:
    """Seconds east of Greenwich of a fixed offset; None for a zone."""
    if clock in ("UTC", "Z"):
        return 0
    match = _OFFSET.fullmatch(clock)
    if match is None or int(match[3]) > 59 or int(match[2]) * 60 + int(match[3]) > 840:
        return None
    seconds = int(match[2]) * 3600 + int(match[3]) * 60
    return -seconds if match[1] == "-" else seconds


def _zone_instants(table: _Table, walls: Sequence[datetime], zone: str) -> Ints:
    """Instants of a clock that changes; a repeated hour is taken in order."""
    rules = zone_rules(zone)
    instants = np.empty(len(walls), dtype=np.int64)
    previous: datetime | None = None
    is_second = False
    for place, wall in enumerate(walls):
        first = wall.replace(tzinfo=rules, fold=0)
        second = wall.replace(tzinfo=rules, fold=1)
        chosen = first
        if first.utcoffset() == second.utcoffset():
            is_second, previous = False, None
        elif first.astimezone(UTC).astimezone(rules).replace(tzinfo=None) != wall:
            table.faults.add(
                table.lines[place],
                TIME_COLUMN,
                f"{wall:%Y-%m-%d %H:%M}, which the clock of {zone} skips",
                "times that exist there; a logger that does not follow summer time has a"
                " --clock-offset",
            )
        else:
            is_second = is_second or (previous is not None and wall <= previous)
            chosen, previous = second if is_second else first, wall
        instants[place] = round(chosen.timestamp())
    return instants


def _order(table: _Table, stamps: Ints, values: Mapping[str, Floats]) -> Ints:
    """Indices of the rows to keep, in order of time; identical repeats are kept once."""
    for place in (np.flatnonzero(np.diff(stamps) < 0) + 1).tolist():
        table.flag(place, "", "backwards", "earlier than the line before; the lines were sorted")
    order = np.argsort(stamps, kind="stable")
    is_repeat = np.concatenate(([False], stamps[order][1:] == stamps[order][:-1]))
    for place in np.flatnonzero(is_repeat).tolist():
        this, before = int(order[place]), int(order[place - 1])
        differing = [
            label
            for label, column in values.items()
            if not np.array_equal(column[this], column[before], equal_nan=True)
        ]
        if differing:
            table.faults.add(
                table.lines[this],
                TIME_COLUMN,
                f"the time of line {table.lines[before]} with another {', '.join(differing)}",
                "each time once",
            )
        else:
            table.flag(this, "", "repeated", f"the same as line {table.lines[before]}")
    table.faults.raise_any()
    return order[~is_repeat]


def _intervals(table: _Table, stamps: Ints) -> tuple[int, Ints, Ints]:
    """Usual length of an interval in seconds, and where each begins and ends."""
    if stamps.size < 2:
        table.faults.add(
            0, "", "a single time", "two lines or more, so that the length of an interval is known"
        )
        return 0, stamps, stamps
    gaps = np.diff(stamps)
    lengths, counts = np.unique(gaps, return_counts=True)
    step_s = int(lengths[np.argmax(counts)])
    is_day = abs(step_s - DAY_S) <= 3600
    if not is_day and (step_s < 60 or step_s > LONGEST_STEP_S):
        table.faults.add(
            0,
            TIME_COLUMN,
            f"lines that are {step_s / 60:g} min apart",
            "intervals of 1 minute to 3 hours, or of a day",
        )
    step_s = DAY_S if is_day else step_s
    if is_day:
        neighbours = _days_on(table, stamps, -1 if table.setup.stamp == "end" else 1)
    else:
        neighbours = stamps - step_s if table.setup.stamp == "end" else stamps + step_s
    if table.setup.stamp == "end":
        starts, ends = neighbours, stamps
        # An odd time must not let two intervals overlap.
        starts = np.concatenate((starts[:1], np.maximum(starts[1:], ends[:-1])))
    else:
        starts, ends = stamps, neighbours
        ends = np.concatenate((np.minimum(ends[:-1], starts[1:]), ends[-1:]))
    slack_s = 3600 if is_day else 0  # a day of the clock change
    for place in (np.flatnonzero(gaps < step_s - slack_s) + 1).tolist():
        table.flag(
            place, "", "irregular", f"only {gaps[place - 1] / 60:g} min after the line before"
        )
    return step_s, starts, ends


def _days_on(table: _Table, stamps: Ints, count: int) -> Ints:
    """The same time on the logger's clock a number of days later."""
    clock = table.setup.clock or "UTC"
    if _fixed_offset_s(clock) is not None:
        return stamps + count * DAY_S
    rules = zone_rules(clock)
    return np.array(
        [
            round((datetime.fromtimestamp(at, rules) + timedelta(days=count)).timestamp())
            for at in stamps.tolist()
        ],
        dtype=np.int64,
    )


def _not_future(table: _Table, ends: Ints, now: datetime) -> NDArray[np.bool_]:
    latest = now.timestamp() + FUTURE_SLACK_S
    is_past: NDArray[np.bool_] = ends <= latest
    for place in np.flatnonzero(~is_past).tolist():
        table.flag(place, "", "future", "later than now; not used")
    if not is_past.any():
        table.faults.add(0, "", "only times in the future", "a logger whose clock is right")
    return is_past


def _note_gaps(table: _Table, starts: Ints, ends: Ints) -> None:
    gaps = starts[1:] - ends[:-1]
    places = np.flatnonzero(gaps > 0)
    if places.size:
        first = int(places[np.argmax(gaps[places])])
        table.notes.append(
            f"{places.size:,} gap{'s' if places.size > 1 else ''},"
            f" {gaps[places].sum() / 3600:,.1f} hours in all; the longest before line"
            f" {table.lines[first + 1]}"
        )


# --- values --------------------------------------------------------------------------------------


def _read_values(table: _Table, label: str, name: str) -> Floats:
    """A column in its own unit; NaN if missing or impossible, a fault if not a number."""
    column = STATION_COLUMNS[name]
    place = table.header.index(label)
    cells = [row[place] for row in table.rows]
    known = {cell: read_number(cell, has_comma=table.has_comma) for cell in set(cells)}
    values = np.array([known[cell] for cell in cells], dtype=np.float64)
    if None in known.values():
        for line, cell in zip(table.lines, cells, strict=True):
            if known[cell] is None:
                table.faults.add(
                    line,
                    label,
                    repr(cell),
                    f"a number from {column.lowest:g} to {column.highest:g}, or nothing",
                )
    return values


def _fields(
    table: _Table,
    columns: Mapping[str, str],
    values: Mapping[str, Floats],
    starts: Ints,
    ends: Ints,
) -> dict[str, Floats]:
    """Every field of an interval in its unit."""
    fields = {name: np.full(starts.size, np.nan) for name in STATION_FIELDS}
    for label, name in columns.items():
        column, given = STATION_COLUMNS[name], values[label]
        is_outside = (given < column.lowest) | (given > column.highest)
        for place in np.flatnonzero(is_outside).tolist():
            table.flag(
                place,
                label,
                "out-of-range",
                f"{given[place]:g} is not from {column.lowest:g} to {column.highest:g}; not used",
            )
        usable = np.where(is_outside, np.nan, given)
        if column.is_counter:
            usable = _counter_steps(table, label, usable, starts, ends)
        converted = usable * column.factor + column.offset
        if column.radiation == "w-m2":
            converted = converted * (ends - starts)
        if column.radiation is not None:
            converted = np.maximum(converted, 0.0)
        fields[column.field] = converted
    return fields


def _counter_steps(table: _Table, label: str, counts: Floats, starts: Ints, ends: Ints) -> Floats:
    """Rain of each interval from a running total; unknown for the first."""
    rain = np.full(counts.size, np.nan)
    known = np.flatnonzero(np.isfinite(counts))
    for before, this in zip(known[:-1].tolist(), known[1:].tolist(), strict=True):
        step = counts[this] - counts[before]
        if step < 0.0:
            table.flag(
                this,
                label,
                "rollover",
                f"the counter fell from {counts[before]:g} to {counts[this]:g}; counted from zero",
            )
            step = counts[this]
        elif step > 0.0 and starts[this] > ends[before]:
            table.flag(
                this, label, "after-gap", f"{step:g} since the gap began; booked to this line"
            )
        rain[this] = step
    return rain


def _check_medians(
    table: _Table, columns: Mapping[str, str], values: Mapping[str, Floats], starts: Ints
) -> None:
    """Refuse a column that, as a whole, looks like another unit."""
    _, first = np.unique(starts // DAY_S, return_index=True)
    for label, name in columns.items():
        column = STATION_COLUMNS[name]
        typical = values[label]
        # The maximum of a day or two may be a single bad reading.
        if column.field in TEMPERATURES and first.size >= FEWEST_MAXIMA:
            typical = np.fmax.reduceat(typical, first)
        typical = typical[np.isfinite(typical)]
        if typical.size and (median := float(np.median(typical))) > column.suspect_median:
            hint = f"; --column {label}=OURS says which unit" if table.is_logger else ""
            table.ask(
                f"values around {median:g}",
                f"values from {column.lowest:g} to {column.highest:g}; these look like"
                f" {column.suspect or 'another unit'}{hint}",
                column=label,
            )


def _flag_stuck(table: _Table, starts: Ints, ends: Ints, fields: Mapping[str, Floats]) -> None:
    for name, is_stuck in find_stuck(starts, ends, fields).items():
        places = np.flatnonzero(is_stuck)
        values = fields[name][places]
        breaks = (np.flatnonzero((np.diff(places) > 1) | (values[1:] != values[:-1])) + 1).tolist()
        for run in np.split(places, breaks):
            hours = (ends[run[-1]] - starts[run[0]]) / 3600
            table.flags.append(
                LineFlag(
                    table.lines[run[0]],
                    table.lines[run[-1]],
                    name,
                    "stuck",
                    f"{fields[name][run[0]]:g} for {hours:g} h",
                )
            )


# --- our daily template --------------------------------------------------------------------------


def _daily_template(content: bytes, table: _Table, now: datetime, sha256: str) -> StationFile:
    """One line per civil day of the site, as :mod:`service.farm_files.weather_file` reads it."""
    weather = parse_weather(content, name=table.name)
    kept = [name for name in STATION_FIELDS if name in weather.fields]
    left = [
        column
        for column in weather.columns_found
        if column.startswith(("sunshine", "rain_probability"))
    ]
    found = [name for name in kept if np.isfinite(weather.fields[name]).any()]
    _ask_for_sensors(table, found)
    kinds = {"rs_w_m2": "w-m2", "rs_mj_m2": "mj-m2", "rs_langley": "mj-m2"}
    for column in weather.columns_found:
        kind = kinds.get(column)
        if kind is not None and table.setup.radiation not in (None, kind):
            table.ask(
                f"{column}, but the station's radiation is {table.setup.radiation}",
                f"a column of that kind, or --radiation {kind}",
                column=column,
            )
    table.faults.raise_any()
    table.notes += weather.notes
    if left:
        table.notes.append(f"left aside: {', '.join(left)}")
    days = weather.days.tolist()
    starts, ends = (
        np.array(
            [
                round(midnight_utc(day + timedelta(days=ahead), table.zone).timestamp())
                for day in days
            ],
            dtype=np.int64,
        )
        for ahead in (0, 1)
    )
    is_past = ends <= now.timestamp() + FUTURE_SLACK_S
    if not is_past.all():
        count = int((~is_past).sum())
        table.notes.append(f"{count:,} day{'s' if count > 1 else ''} not over yet; not used")
    if not is_past.any():
        table.faults.add(0, "", "no day that is over", "days up to yesterday")
    table.faults.raise_any()
    missing = np.full(len(days), np.nan)
    return StationFile(
        intervals=StationIntervals(
            start_epoch_s=starts[is_past],
            end_epoch_s=ends[is_past],
            fields={name: weather.fields.get(name, missing)[is_past] for name in STATION_FIELDS},
        ),
        setup=table.setup,
        columns={name: name for name in weather.columns_found if name not in left},
        step_min=DAY_S / 60.0,
        sha256=sha256,
        notes=tuple(table.notes),
    )
