"""Tables as CSV and as workbooks, read back with openpyxl."""

from __future__ import annotations

import csv
import io
import math
from datetime import date, datetime

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.workbook import Workbook

from service.delivery.table_file import csv_file, xlsx_file
from service.records.export import Cell, ColumnKind, ExportColumn, ExportTable

DAY = date(2026, 7, 14)
MOMENT = datetime(2026, 7, 14, 5, 10)  # noqa: DTZ001 - on the clock that the notes name
COLUMNS = (
    ExportColumn("Day", ColumnKind.DAY),
    ExportColumn("Start", ColumnKind.MOMENT),
    ExportColumn("Water, gal", ColumnKind.NUMBER, 1),
    ExportColumn("Note"),
)
ROW: tuple[Cell, ...] = (DAY, MOMENT, 820.26, "north")


def table(*rows: tuple[Cell, ...], title: str = "Runs") -> ExportTable:
    return ExportTable(
        "runs-hill-farm", title, COLUMNS, rows, (("Farm", "Hill [farm]"), ("Units", "gal")), "Notes"
    )


def read(made: ExportTable) -> Workbook:
    return openpyxl.load_workbook(io.BytesIO(xlsx_file(made)))


def text_rows(made: ExportTable) -> list[list[str]]:
    return list(csv.reader(io.StringIO(csv_file(made).decode("utf-8-sig"))))


def test_days_times_and_numbers_are_what_they_are_in_a_workbook() -> None:
    sheet = read(table(ROW)).worksheets[0]
    assert [cell.value for cell in sheet[1]] == [column.heading for column in COLUMNS]
    day, start, water, note = sheet[2]
    assert day.data_type == "d" and day.value == datetime(2026, 7, 14)  # noqa: DTZ001 - a cell has no zone
    assert start.value == MOMENT and start.number_format == "yyyy-mm-dd hh:mm"
    # The number is whole, and shown as its column says.
    assert (water.value, water.data_type, water.number_format) == (820.26, "n", "0.0")
    assert note.value == "north"


def test_the_notes_are_on_a_sheet_of_their_own() -> None:
    sheet = read(table(ROW)).worksheets[1]
    assert [[cell.value for cell in row] for row in sheet.iter_rows()] == [
        ["Farm", "Hill [farm]"], ["Units", "gal"],
    ]  # fmt: skip


def test_csv_has_iso_days_and_the_decimals_of_its_columns() -> None:
    assert text_rows(table(ROW))[1] == ["2026-07-14", "2026-07-14 05:10", "820.3", "north"]


def test_what_is_not_known_is_an_empty_cell() -> None:
    rows = ((None, None, math.nan, None), (None, None, math.inf, ""))
    sheet = read(table(*rows)).worksheets[0]
    assert [[cell.value for cell in sheet[line]] for line in (2, 3)] == [[None] * 4] * 2
    assert text_rows(table(*rows))[1:] == [[""] * 4] * 2


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "=HYPERLINK(\"x\")", "\uff1d1+1"],
)  # fmt: skip
def test_no_text_becomes_a_formula(text: str) -> None:
    """The list is that of the OWASP page "CSV Injection"."""
    made = table((DAY, MOMENT, 1.0, text), title=text)
    cell = read(made).worksheets[0]["D2"]
    assert cell.data_type != "f" and cell.hyperlink is None
    assert text_rows(made)[1][3].startswith("'")


def test_a_heading_is_no_formula_either() -> None:
    made = ExportTable("x", "x", (ExportColumn("=1+1"),), (("a",),), (), "Notes")
    assert read(made).worksheets[0]["A1"].data_type == "s"
    assert text_rows(made)[0] == ["'=1+1"]


def test_a_number_below_zero_stays_a_number() -> None:
    assert text_rows(table((DAY, MOMENT, -3.24, "-3.2")))[1][2:] == ["-3.2", "-3.2"]


@pytest.mark.parametrize("title", ["", "[]:*?/\\", "'", "a" * 60, "\x00\x07"])
def test_any_title_names_a_sheet(title: str) -> None:
    assert 1 <= len(read(table(ROW, title=title)).sheetnames[0]) <= 31


@given(st.text(max_size=40))
def test_any_text_that_a_workbook_can_hold_comes_back(text: str) -> None:
    shown = read(table((DAY, MOMENT, 1.0, text))).worksheets[0]["D2"].value
    allowed = {ord(each): None for each in map(chr, range(32)) if each not in "\t\n\r"}
    kept = text.translate(allowed).replace("\ufffe", "").replace("\uffff", "")
    assert (shown or "") == kept.replace("\r\n", "\n").replace("\r", "\n")


def test_a_very_long_text_is_cut_to_what_a_cell_holds() -> None:
    assert (
        len(str(read(table((DAY, MOMENT, 1.0, "a" * 40_000))).worksheets[0]["D2"].value)) == 32_767
    )


def test_the_same_table_gives_the_same_bytes() -> None:
    assert xlsx_file(table(ROW)) == xlsx_file(table(ROW))


def test_a_table_without_rows_has_its_headings() -> None:
    assert read(table()).worksheets[0].max_row == 1
