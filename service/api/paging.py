"""Lists page by page: a cursor names the last item, and ``next`` the address of what follows.

Addresses are relative, as the name that this service is known by is the proxy's affair.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request, Response

from service.api.answers import (
    NOT_MODIFIED,
    IfNoneMatch,
    conditional_response,
    described,
    problems,
    spreadsheet_response,
    tagged_response,
)
from service.api.cursors import cursor_of
from service.api.openapi_headers import header_ref
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.facts import Out
from service.api.schemas.pages import FeedOut, PageOut
from service.api.schemas.queries import PageQuery
from service.delivery.table_file import csv_bytes
from service.records.export import ExportTable

Item = TypeVar("Item")
Shown = TypeVar("Shown", bound=Out)


def next_address(request: Request, last: str | int) -> str:
    """The address of the page after the one whose last item is named so."""
    following = request.url.include_query_params(cursor=cursor_of(str(last)))
    return f"{following.path}?{following.query}"


def list_answers(
    what: str,
    example: dict[str, Any],
    *,
    csv_example: str | None = None,
    is_spreadsheet: bool = False,
) -> dict[int | str, dict[str, Any]]:
    """The answers of a route that gives a page of a list, as the OpenAPI document shows them.

    csv_example: of the table, where there is one; None: there is none. is_spreadsheet: the table
    also comes as a workbook.
    """
    page = described(
        what,
        example,
        csv_example=csv_example,
        is_spreadsheet=is_spreadsheet,
        is_conditional=True,
    )
    same = NOT_MODIFIED[304]
    if csv_example is not None:
        page, same = (
            {**answer, "headers": {**answer["headers"], "Link": header_ref("Link")}}
            for answer in (page, same)
        )
    return {200: page, 304: same, **problems(NOT_FOUND, INVALID_REQUEST)}


def cut(
    items: Iterable[Item], query: PageQuery, name_of: Callable[[Item], str]
) -> tuple[list[Item], bool]:
    """The items of a page, in the order of their names, and whether more follow.

    Sorted here, since cursors compare as Python does and not as the database.
    """
    after = query.after  # read even where there is nothing to compare: a wrong cursor is refused
    rest = sorted((each for each in items if name_of(each) > after), key=name_of)
    return rest[: query.size], len(rest) > query.size


@dataclass(frozen=True, slots=True)
class Pages:
    """Answers a request for a page of a list."""

    request: Request
    if_none_match: str | None

    def answer(
        self,
        items: Iterable[Item],
        query: PageQuery,
        page: type[PageOut[Shown]],
        *,
        name_of: Callable[[Item], str],
        show: Callable[[Item], Shown],
    ) -> Response:
        """The page that is asked for, in the order of the items' names, or 304 if the caller has
        it.
        """
        shown, has_more = cut(items, query, name_of)
        return conditional_response(
            page(
                items=[show(each) for each in shown],
                next=next_address(self.request, name_of(shown[-1])) if has_more else None,
            ),
            self.if_none_match,
        )

    def page(
        self,
        entries: Sequence[Item],
        page: type[PageOut[Shown]],
        *,
        place_of: Callable[[Item], str],
        show: Callable[[Item], Shown],
        has_more: bool,
    ) -> Response:
        """A page of a list that was cut by the database, or 304 if the caller has it."""
        following = next_address(self.request, place_of(entries[-1])) if has_more else None
        return conditional_response(
            page(items=[show(each) for each in entries], next=following), self.if_none_match
        )

    def feed(
        self,
        entries: Sequence[Item],
        feed: type[FeedOut[Shown]],
        *,
        place_of: Callable[[Item], str],
        show: Callable[[Item], Shown],
        has_more: bool,
    ) -> Response:
        """What came or changed after the cursor, or 304 if the caller has it.

        ``next`` stays this address where nothing is new.
        """
        answer = feed(
            items=[show(each) for each in entries],
            next=self.following(entries, place_of),
            has_more=has_more,
        )
        return conditional_response(answer, self.if_none_match)

    def table(
        self,
        entries: Sequence[Item],
        columns: Sequence[str],
        rows: Iterable[Iterable[object]],
        *,
        place_of: Callable[[Item], str],
        goes_on: bool = True,
    ) -> Response:
        """A page as CSV; the address of what follows is in the header ``Link`` (RFC 8288).

        goes_on: False on the last page of a list that is not followed further.
        """
        answer = tagged_response(
            csv_bytes(columns, rows), self.if_none_match, media_type="text/csv; charset=utf-8"
        )
        return self._linked(answer, entries, place_of) if goes_on else answer

    def sheet(
        self,
        entries: Sequence[Item],
        table: ExportTable,
        *,
        place_of: Callable[[Item], str],
        goes_on: bool,
    ) -> Response:
        """A page as a workbook, with the address of the next one as :meth:`table` has it."""
        answer = spreadsheet_response(table, self.if_none_match)
        return self._linked(answer, entries, place_of) if goes_on else answer

    def _linked(
        self, answer: Response, entries: Sequence[Item], place_of: Callable[[Item], str]
    ) -> Response:
        answer.headers["Link"] = f'<{self.following(entries, place_of)}>; rel="next"'
        return answer

    def following(self, entries: Sequence[Item], place_of: Callable[[Item], str]) -> str:
        """The address of what follows these entries; without any, that of the request."""
        if entries:
            return next_address(self.request, place_of(entries[-1]))
        url = self.request.url
        return f"{url.path}?{url.query}" if url.query else url.path


async def _pages(request: Request, if_none_match: IfNoneMatch = None) -> Pages:
    return Pages(request, if_none_match)


ThePages = Annotated[Pages, Depends(_pages)]
