"""A table for a spreadsheet: typed columns, rows, and notes on what it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

Cell = str | float | int | bool | date | datetime | None


class ColumnKind(StrEnum):
    """What the cells of a column are; None is an empty cell in each."""

    TEXT = "text"
    DAY = "day"
    """A date."""
    MOMENT = "moment"
    """A datetime; on the clock that the notes name, without its offset."""
    NUMBER = "number"
    """A float, or an int for a count."""


@dataclass(frozen=True, slots=True)
class ExportColumn:
    """One column."""

    heading: str
    """In the reader's language; of a quantity, with its unit."""
    kind: ColumnKind = ColumnKind.TEXT
    decimals: int = 0
    """Of a number, as it is shown; the cell itself is not rounded in a spreadsheet."""


@dataclass(frozen=True, slots=True)
class ExportTable:
    """A table, and what a reader needs to know to use it elsewhere."""

    name: str
    """Of the file, without its ending: small letters, digits and hyphens."""
    title: str
    """Of the sheet."""
    columns: tuple[ExportColumn, ...]
    rows: Sequence[Sequence[Cell]]
    notes: tuple[tuple[str, str], ...]
    """What each is, and in words: farm, days, units, references."""
    notes_title: str
    """Of the second sheet."""
