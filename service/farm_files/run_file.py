"""Runs that took place, from a CSV file whose column names carry the units.

A file is read as a whole or not at all: every bad line is listed with its number, column and value.
When a run began is a column ``start``, or ``date`` and ``time``; how much it was is one of
``duration_min``, ``duration_h`` and ``end``, a metered volume, or a depth over the block's ground.
Times without an offset are on the clock of the block's site.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Final

from service.errors import InputInvalid
from service.farm_files.near_words import one_of
from service.farm_files.sheet import (
    SheetFaults,
    decode_sheet,
    read_number,
    read_sheet,
    split_sheet,
)
from service.records.feedback import RunFile, RunLine
from service.unit_sizes import L_PER_GALLON, L_PER_M3, MINUTES_PER_HOUR, MM_PER_INCH

BLOCK, START, DATE, TIME, END = "block", "start", "date", "time", "end"
LENGTHS: Final[Mapping[str, float]] = {"duration_min": 1.0, "duration_h": MINUTES_PER_HOUR}
VOLUMES: Final[Mapping[str, float]] = {
    "volume_l": 1.0,
    "volume_gal": L_PER_GALLON,
    "volume_m3": L_PER_M3,
}
DEPTHS: Final[Mapping[str, float]] = {"depth_mm": 1.0, "depth_in": MM_PER_INCH}
COLUMNS: Final = (BLOCK, START, DATE, TIME, END, *LENGTHS, *VOLUMES, *DEPTHS)
MOST_RUNS: Final = 10_000
_EXAMPLE = "a header such as block,start,duration_min,volume_gal"
_ALLOWED_FILE = (
    f"CSV text in UTF-8 or Windows-1252, at most 5 MB and 100,000 lines, with {_EXAMPLE}"
)
_NOTHING = ("no line with a run", "one line per run under the header")
_ALLOWED_START = "a time such as 2026-07-14T05:10, with or without an offset such as -04:00"
_MOMENT = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:Z|[+-]\d{2}:?\d{2})?"
)


def read_run_file(path: Path) -> RunFile:
    """The runs of a file; raises InputInvalid."""
    return parse_runs(read_sheet(path, allowed=_ALLOWED_FILE), name=path.name)


def parse_runs(content: bytes, *, name: str) -> RunFile:
    """The runs in the bytes of a file, which messages call ``name``; raises InputInvalid with every
    fault found.
    """
    faults = SheetFaults(name, error=InputInvalid)
    notes: list[str] = []
    text = decode_sheet(content, faults, notes, allowed=_ALLOWED_FILE)
    table = split_sheet(text, faults, allowed=_ALLOWED_FILE, nothing=_NOTHING)
    _check_header(table.header, faults)
    faults.raise_any()
    if len(table.lines) > MOST_RUNS:
        faults.add(0, "", f"{len(table.lines):,} runs", f"at most {MOST_RUNS:,} runs in a file")
    faults.raise_any()
    runs = []
    for line, row in zip(table.lines, table.rows, strict=True):
        cells = {key: cell.strip() for key, cell in zip(table.header, row, strict=True)}
        run = _Line(line, cells, faults, has_comma=table.has_comma).run()
        if run is not None:
            runs.append(run)
    faults.raise_any()
    return RunFile(name, tuple(runs), tuple(notes))


def _check_header(header: Sequence[str], faults: SheetFaults) -> None:
    for place, name in enumerate(header, 1):
        if name not in COLUMNS:
            shown = repr(name) if name else f"column {place} without a name"
            faults.add(0, "", shown, one_of(name, COLUMNS))
        elif header.index(name) < place - 1:
            faults.add(0, name, "this column twice", "each column once")
    has = set(header)
    if (START in has) == (DATE in has) or (DATE in has) != (TIME in has):
        faults.add(0, "", f"columns {', '.join(header)}", "either start, or date and time")
    for group in ((*LENGTHS, END), tuple(VOLUMES), tuple(DEPTHS)):
        given = [name for name in group if name in has]
        if len(given) > 1:
            faults.add(0, "", " and ".join(given), f"one of {', '.join(group)}")
    if not has.intersection((*LENGTHS, END, *VOLUMES, *DEPTHS)):
        amounts = ", ".join((*LENGTHS, END, *VOLUMES, *DEPTHS))
        faults.add(0, "", "no amount of water", f"one or more of {amounts}")


class _Line:
    """One line of a file."""

    def __init__(
        self, line: int, cells: Mapping[str, str], faults: SheetFaults, *, has_comma: bool
    ) -> None:
        self._line = line
        self._cells = cells
        self._faults = faults
        self._has_comma = has_comma

    def run(self) -> RunLine | None:
        """The run; None where the line has a fault, which is noted."""
        if START in self._cells:
            started_at = self._moment(START, self._cells[START])
        else:
            started_at = self._moment(DATE, f"{self._cells[DATE]}T{self._cells[TIME]}")
        if BLOCK in self._cells and not self._cells[BLOCK]:
            self._fault(BLOCK, "nothing", "the block that ran")
            return None
        duration_min = self._number(LENGTHS)
        if self._cells.get(END) and started_at is not None:
            duration_min = self._minutes_to_end(started_at)
        volume_l, depth_mm = self._number(VOLUMES), self._number(DEPTHS)
        numbers = (duration_min, volume_l, depth_mm)
        if started_at is None or any(each is not None and math.isnan(each) for each in numbers):
            return None
        if duration_min is None and volume_l is None and depth_mm is None:
            self._fault("", "no amount of water", "minutes, a volume or a depth")
            return None
        if depth_mm is not None and (duration_min is not None or volume_l is not None):
            self._fault("", "a depth beside minutes or a volume", "one of them")
            return None
        return RunLine(
            line=self._line,
            block=self._cells.get(BLOCK, ""),
            started_at=started_at,
            duration_min=duration_min,
            volume_l=volume_l,
            depth_mm=depth_mm,
        )

    def _moment(self, column: str, text: str) -> datetime | None:
        try:
            if _MOMENT.fullmatch(text):
                date_part, hour = text[:10], text[11:]
                padded = hour if hour[1:2] != ":" else f"0{hour}"
                return datetime.fromisoformat(f"{date_part}T{padded}")
        except ValueError:
            pass
        self._fault(column, repr(text), _ALLOWED_START)
        return None

    def _minutes_to_end(self, started_at: datetime) -> float:
        """Minutes up to the end; NaN for an end that cannot be, which is noted."""
        ended_at = self._moment(END, self._cells[END])
        if ended_at is None:
            return math.nan
        if (ended_at.tzinfo is None) != (started_at.tzinfo is None):
            self._fault(END, repr(self._cells[END]), "an offset at both start and end, or at none")
            return math.nan
        if ended_at < started_at:
            self._fault(END, repr(self._cells[END]), "a time after the start")
            return math.nan
        return (ended_at - started_at).total_seconds() / 60.0

    def _number(self, columns: Mapping[str, float]) -> float | None:
        """The number of the column that the file has, in our unit; None where it is empty."""
        column = next((name for name in columns if name in self._cells), None)
        if column is None or not self._cells[column]:
            return None
        number = read_number(self._cells[column], has_comma=self._has_comma)
        if number is not None and math.isnan(number):
            return None
        if number is None or number < 0.0:
            self._fault(column, repr(self._cells[column]), "a number from 0 on, or nothing")
            return math.nan
        return number * columns[column]

    def _fault(self, column: str, found: str, allowed: str) -> None:
        self._faults.add(self._line, column, found, allowed)
