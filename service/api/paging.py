"""Lists page by page: a cursor names the last item, and ``next`` the address of what follows.

Addresses are relative, as the name that this service is known by is the proxy's affair.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request, Response

from service.api.answers import NOT_MODIFIED, IfNoneMatch, conditional_response, described, problems
from service.api.cursors import cursor_of
from service.api.problem_types import INVALID_REQUEST, NOT_FOUND
from service.api.schemas.facts import Out
from service.api.schemas.pages import PageOut
from service.api.schemas.queries import PageQuery

Item = TypeVar("Item")
Shown = TypeVar("Shown", bound=Out)


def next_address(request: Request, last: str | int) -> str:
    """The address of the page after the one whose last item is named so."""
    following = request.url.include_query_params(cursor=cursor_of(str(last)))
    return f"{following.path}?{following.query}"


def list_answers(what: str, example: dict[str, Any]) -> dict[int | str, dict[str, Any]]:
    """The answers of a route that gives a page of a list, as the OpenAPI document shows them."""
    return {
        200: described(what, example, is_conditional=True),
        **NOT_MODIFIED,
        **problems(NOT_FOUND, INVALID_REQUEST),
    }


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

        Sorted here, since cursors compare as Python does and not as the database.
        """
        rest = sorted((each for each in items if name_of(each) > query.after), key=name_of)
        shown = rest[: query.size]
        has_more = len(rest) > query.size
        return conditional_response(
            page(
                items=[show(each) for each in shown],
                next=next_address(self.request, name_of(shown[-1])) if has_more else None,
            ),
            self.if_none_match,
        )


async def _pages(request: Request, if_none_match: IfNoneMatch = None) -> Pages:
    return Pages(request, if_none_match)


ThePages = Annotated[Pages, Depends(_pages)]
