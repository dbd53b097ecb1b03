"""A table as a file: CSV, or a workbook with the table and its notes.

A cell of text is never a formula: the workbook holds it as a string, and CSV puts an apostrophe
before what a spreadsheet would take for one. The same table gives the same bytes.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any, Final

from service.records.export import Cell, ColumnKind, ExportColumn, ExportTable

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

CSV_TYPE: Final = "text/csv; charset=utf-8"
XLSX_TYPE: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
BYTE_ORDER_MARK: Final = "\ufeff"
"""Without it, spreadsheets of some systems take UTF-8 for another encoding."""
_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")
_FULL_WIDTH: Final = ("\uff1d", "\uff0b", "\uff0d", "\uff20")
"""Some spreadsheets take these for the ASCII ones."""
_LONGEST_CELL: Final = 32_767
"""Characters that a cell of a workbook holds."""
_LONGEST_SHEET_NAME: Final = 31
_NOT_IN_SHEET_NAMES: Final = re.compile(r"[\[\]:*?/\\']")
_NOT_IN_XML: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_UNCHANGING: Final = datetime(2026, 1, 1, tzinfo=UTC)
_NARROWEST, _WIDEST = 8, 60


def safe_cell(value: object) -> str:
    """A value as a cell of CSV; text that would be a formula gets an apostrophe.

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


def csv_file(table: ExportTable) -> bytes:
    """The table without its notes, with days and times as ISO 8601 writes them."""
    header = [safe_cell(column.heading) for column in table.columns]
    rows = (
        [_csv_cell(cell, column) for cell, column in zip(row, table.columns, strict=True)]
        for row in table.rows
    )
    return BYTE_ORDER_MARK.encode() + csv_bytes(header, rows)


def _csv_cell(cell: Cell, column: ExportColumn) -> object:
    if isinstance(cell, float):
        return f"{cell:.{column.decimals}f}" if math.isfinite(cell) else None
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="minutes")
    return cell


def xlsx_file(table: ExportTable) -> bytes:
    """A workbook (Office Open XML): the table on the first sheet, its notes on the second."""
    # Only who asks for a workbook pays for loading its writer.
    from xlsxwriter import Workbook  # noqa: PLC0415 - see above

    buffer = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_numbers": False,
        "strings_to_urls": False,
        "nan_inf_to_errors": False,
    }
    book = Workbook(buffer, options)
    book.set_properties({"title": table.title, "created": _UNCHANGING.replace(tzinfo=None)})
    _write_table(book, table)
    _write_notes(book, table)
    book.close()
    return buffer.getvalue()


def _write_table(book: Workbook, table: ExportTable) -> None:
    sheet = book.add_worksheet(_sheet_name(table.title))
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    formats = [_format(book, column) for column in table.columns]
    for place, column in enumerate(table.columns):
        sheet.write_string(0, place, _plain(column.heading), head)
        sheet.set_column(place, place, _width(table, place))
    for number, row in enumerate(table.rows, 1):
        for place, cell in enumerate(row):
            _write(sheet, (number, place), cell, formats[place])
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(table.rows), len(table.columns) - 1)
    sheet.repeat_rows(0)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)


def _write(sheet: Worksheet, at: tuple[int, int], cell: Cell, form: Any) -> None:
    match cell:
        case None | "":
            return
        case bool():
            sheet.write_boolean(*at, cell, form)
        case int() | float():
            if math.isfinite(cell):
                sheet.write_number(*at, cell, form)
        case date():  # a datetime is one too
            sheet.write_datetime(*at, cell, form)
        case _:
            sheet.write_string(*at, _plain(cell), form)


def _write_notes(book: Workbook, table: ExportTable) -> None:
    sheet = book.add_worksheet(_sheet_name(table.notes_title))
    top = book.add_format({"valign": "top", "bold": True})
    wrapped = book.add_format({"valign": "top", "text_wrap": True})
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 80)
    for number, (name, words) in enumerate(table.notes):
        sheet.write_string(number, 0, _plain(name), top)
        sheet.write_string(number, 1, _plain(words), wrapped)


def _format(book: Workbook, column: ExportColumn) -> Any:
    match column.kind:
        case ColumnKind.DAY:
            return book.add_format({"num_format": "yyyy-mm-dd"})
        case ColumnKind.MOMENT:
            return book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        case ColumnKind.NUMBER:
            decimals = "." + "0" * column.decimals if column.decimals else ""
            return book.add_format({"num_format": f"0{decimals}"})
    return book.add_format({"text_wrap": True, "valign": "top"})


def _width(table: ExportTable, place: int) -> int:
    """Characters that most cells of a column need."""
    column = table.columns[place]
    if column.kind is ColumnKind.MOMENT:
        return 16
    longest_word = max((len(word) for word in column.heading.split()), default=0)
    if column.kind is not ColumnKind.TEXT:
        return max(_NARROWEST, longest_word + 3, 11 if column.kind is ColumnKind.DAY else 0)
    longest = max((len(str(row[place] or "")) for row in table.rows), default=0)
    return max(_NARROWEST, longest_word + 3, min(longest, _WIDEST))


def _plain(text: str) -> str:
    """Text that a workbook can hold, its line ends as one character."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return _NOT_IN_XML.sub("", lines)[:_LONGEST_CELL]


def _sheet_name(title: str) -> str:
    """A name that a sheet may have."""
    return _NOT_IN_SHEET_NAMES.sub(" ", _plain(title))[:_LONGEST_SHEET_NAME].strip() or "-"
