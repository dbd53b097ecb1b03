"""The log book of a farm: what was reported, noted and changed, in plain sentences."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Response

from service.api.access import Right, needs
from service.api.answers import SHEET_WORDS
from service.api.audit_examples import LOG_BOOK_CSV, LOG_BOOK_PAGE
from service.api.dependencies import FarmId, TheService
from service.api.negotiation import CSV, SHEETS, form_wanted
from service.api.paging import ThePages, list_answers
from service.api.schemas.log_book import (
    LOG_CSV_COLUMNS,
    LogBookPageOut,
    LogBookQuery,
    LogLineOut,
    log_csv_row,
)
from service.delivery.log_words import LogLine, Telling, log_line
from service.delivery.table_file import XLSX_TYPE
from service.operations.audit.log_book import LogWish, read_log_book
from service.operations.exports.log_table import log_table

router = APIRouter(tags=["changes"])


@router.get(
    "/farms/{farm_id}/log-book",
    dependencies=[needs(Right.PLAN_READ)],
    operation_id="list_log_book",
    summary="List a farm's log book",
    description="What was reported, noted and changed, in English sentences with SI units, the"
    " newest first, page by page: follow `next` until it is null. What the service works out every"
    " evening is not in it; `/v1/farms/{farm_id}/changes` has the values before and after. JSON, or"
    " a table for `Accept: text/csv`, or a spreadsheet, both with the address of the next page in"
    " the header `Link`.",
    response_model=LogBookPageOut,
    response_model_exclude_none=False,
    responses=list_answers(
        "A page of entries.", LOG_BOOK_PAGE, csv_example=LOG_BOOK_CSV, is_spreadsheet=True
    ),
)
def list_log_book(
    farm_id: FarmId,
    service: TheService,
    query: Annotated[LogBookQuery, Query()],
    pages: ThePages,
) -> Response:
    """A page of entries, or 304 if the caller already has it."""
    span = (query.first_day, query.last_day)
    book = read_log_book(
        LogWish(
            farm_id=farm_id,
            block_id=query.block,
            kind=query.kind,
            first_day=query.first_day,
            last_day=query.last_day,
            older_than=query.after_key,
            count=query.size,
        ),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    telling = Telling(SHEET_WORDS, book.farm.zone, book.names)
    lines = [log_line(each.change, each.note, telling) for each in book.entries]
    oldest = str(min((each.change.entry_key for each in book.entries), default=0))

    def place_of(line: LogLine) -> str:
        """Of the page as a whole: entries are shown by time and cut by their keys."""
        return oldest

    form = form_wanted(pages.request, SHEETS)
    if form == XLSX_TYPE:
        table = log_table(lines, book.farm, SHEET_WORDS, span=span)
        return pages.sheet(lines, table, place_of=place_of, goes_on=book.has_more)
    if form == CSV:
        rows = map(log_csv_row, lines)
        return pages.table(lines, LOG_CSV_COLUMNS, rows, place_of=place_of, goes_on=book.has_more)
    return pages.page(
        lines,
        LogBookPageOut,
        place_of=place_of,
        show=LogLineOut.from_line,
        has_more=book.has_more,
    )
