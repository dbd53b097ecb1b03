"""What tables in text files have in common: size, encoding, numbers, faults."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from service.errors import Fault, InputInvalid, WeatherInvalid

LARGEST_FILE_BYTES = 5_000_000
MOST_LINES = 100_000
MOST_COLUMNS = 64
MOST_FAULTS_LISTED = 50
MISSING_WORDS = frozenset(
    {
        *("", "NA", "N/A", "#N/A", "NAN", "M", "-", "--", "---", "NULL", "NONE", "MISSING"),
        *("NO DATA", "NO_DATA", "NODATA", "NO RECORD", "NO_RECORD", "NORECORD"),
    }
)
"""How tables of public weather networks write that a value is missing (common practice)."""
MISSING_NUMBERS = (-99.0, -999.0, -6999.0, -7999.0, -9999.0)
TIME_COLUMN = "timestamp"
DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


class SheetFaults:
    """Faults found so far: the first ones in full, the rest by count.

    ``error`` is what is raised for them.
    """

    def __init__(self, name: str, *, error: type[InputInvalid] = WeatherInvalid) -> None:
        self._name = name
        self._error = error
        self._listed: list[tuple[int, Fault]] = []

    def add(self, line: int, column: str, found: str, allowed: str) -> None:
        """Record a fault; line 0 means the whole column or file."""
        place = ", ".join(
            part
            for part in (f"line {line}" if line else "", f"column {column}" if column else "")
            if part
        )
        where = f"{self._name}: {place}" if place else self._name
        shown = found if len(found) <= 80 else f"{found[:77]}..."
        self._listed.append((line, Fault(where, shown, allowed)))

    def raise_any(self) -> None:
        """Raise the error if there are any, those of the whole file first, then by line."""
        if not self._listed:
            return
        self._listed.sort(key=lambda entry: entry[0])
        count = len(self._listed)
        message = f"{self._name} cannot be used: {count:,} fault{'s' if count > 1 else ''}"
        if count > MOST_FAULTS_LISTED:
            message += f", of which the first {MOST_FAULTS_LISTED} are listed"
        raise self._error(message, [fault for _, fault in self._listed[:MOST_FAULTS_LISTED]])


def read_sheet(path: Path, *, allowed: str) -> bytes:
    """The bytes of a file, at most one more than is allowed; raises WeatherInvalid."""
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        found = error.strerror or type(error).__name__
        raise WeatherInvalid(
            f"{path.name} cannot be read", [Fault(path.name, found, allowed)]
        ) from error


def decode_sheet(content: bytes, faults: SheetFaults, notes: list[str], *, allowed: str) -> str:
    """The text in the bytes of a file; raises what ``faults`` do if it is no text or too long."""
    if len(content) > LARGEST_FILE_BYTES:
        faults.add(0, "", "more than 5,000,000 bytes", allowed)
    elif content.startswith((b"\xff\xfe", b"\xfe\xff")):
        faults.add(0, "", "text in UTF-16", f"{allowed}; save it again as CSV UTF-8")
    elif b"\0" in content:
        faults.add(0, "", "binary content", allowed)
    faults.raise_any()
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        faults.add(line, "", f"byte 0x{content[error.start]:02x}", allowed)
        faults.raise_any()
        raise
    notes.append("read as Windows-1252, as it is not UTF-8")
    return text


def read_number(cell: str, *, has_comma: bool) -> float | None:
    """The number, NaN for a missing value, None for anything else."""
    text = cell.strip()
    if text.upper() in MISSING_WORDS:
        return math.nan
    if has_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    if not _NUMBER.fullmatch(text):
        return None
    number = float(text)
    return math.nan if number in MISSING_NUMBERS else number


def is_missing_code(cell: str) -> bool:
    """Whether the cell is a number used for a missing value, such as -999."""
    text = cell.strip()
    return bool(_NUMBER.fullmatch(text)) and float(text) in MISSING_NUMBERS


def is_logger_table(lines: Sequence[str]) -> bool:
    """Whether a table begins with the four lines that loggers write over their values.

    A line about the station comes first, then names with that of the time among them, units, and
    how each value was formed.
    """
    above, names = (header_cells(line) for line in [*lines[:2], "", ""][:2])
    return TIME_COLUMN in names and TIME_COLUMN not in above


def header_cells(line: str) -> list[str]:
    """The names in a header line, in small letters and without quotes."""
    delimiter = max(DELIMITERS, key=line.count)
    return [cell.strip().strip('"').lower() for cell in line.split(delimiter)]


@dataclass(frozen=True, slots=True)
class SheetTable:
    """The cells of a table, and on which lines they stand."""

    header: list[str]
    """Names of the columns, in small letters."""
    lines: list[int]
    """Of each row, counted from 1."""
    rows: list[list[str]]
    delimiter: str

    @property
    def has_comma(self) -> bool:
        """Whether numbers may have a decimal comma."""
        return self.delimiter == ";"

    def columns(self) -> dict[str, tuple[str, ...]]:
        """The cells of each column, by its name."""
        return dict(zip(self.header, zip(*self.rows, strict=True), strict=True))


def split_sheet(
    text: str, faults: SheetFaults, *, allowed: str, nothing: tuple[str, str]
) -> SheetTable:
    """The table in a text; a wrong number of cells is noted, no table at all is raised.

    allowed: what may stand there. nothing: what is found and allowed where no line follows.
    """
    physical = text.splitlines(keepends=True)
    if len(physical) > MOST_LINES + 1:
        faults.add(0, "", f"{len(physical):,} lines", allowed)
    first = next(
        (place for place, line in enumerate(physical) if line.strip() and line[:1] != "#"), None
    )
    if first is None:
        faults.add(0, "", "an empty file", allowed)
    faults.raise_any()
    skipped = first or 0
    top = physical[skipped]
    if is_logger_table(physical[skipped:]):
        faults.add(
            skipped + 1,
            "",
            "a logger's table with four header lines",
            "one header line with our column names and one line per civil day; a logger stamps "
            "midnight at the end of the day, so its 00:00 belongs to the day before",
        )
    delimiter = max(DELIMITERS, key=top.count)
    if delimiter not in top:
        faults.add(skipped + 1, "", repr(top.rstrip()), f"a header with delimiters; {allowed}")
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
        faults.add(0, "", *nothing)
    return SheetTable(header, lines, rows, delimiter)
