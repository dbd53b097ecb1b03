"""CSV that a spreadsheet will not execute."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Final

_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")
_FULL_WIDTH: Final = ("\uff1d", "\uff0b", "\uff0d", "\uff20")
"""Some spreadsheets take these for the ASCII ones."""


def safe_cell(value: object) -> str:
    """A value as a cell; text that a spreadsheet would take for a formula gets an apostrophe.

    >>> safe_cell("=1+1"), safe_cell(-3.2), safe_cell("-3.2"), safe_cell(None), safe_cell(True)
    ("'=1+1", '-3.2', '-3.2', '', 'true')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    text = str(value)
    if _NUMBER.fullmatch(text):
        return text
    return f"'{text}" if text.startswith(_FORMULA_STARTS + _FULL_WIDTH) else text


def csv_bytes(header: Sequence[str], rows: Iterable[Iterable[object]]) -> bytes:
    """A table as CSV (RFC 4180) in UTF-8."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([safe_cell(cell) for cell in row] for row in rows)
    return buffer.getvalue().encode()
