"""Lists page by page: a cursor names the last item, and ``next`` the address of what follows.

Addresses are relative, as the name that this service is known by is the proxy's affair.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from fastapi import Request

from service.api.cursors import cursor_of
from service.api.schemas.queries import PageQuery

Item = TypeVar("Item")


def next_address(request: Request, last: str | int) -> str:
    """The address of the page after the one whose last item is named so."""
    following = request.url.include_query_params(cursor=cursor_of(str(last)))
    return f"{following.path}?{following.query}"


def page_of(
    items: Sequence[Item], query: PageQuery, request: Request, name_of: Callable[[Item], str]
) -> tuple[list[Item], str | None]:
    """The page of a list that is in the order of its names, and the address of the next one."""
    rest = [item for item in items if name_of(item) > query.after]
    page = rest[: query.size]
    has_more = len(rest) > query.size
    return page, next_address(request, name_of(page[-1])) if has_more else None
