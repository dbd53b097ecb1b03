"""Which form of an answer a caller asked for (RFC 9110 section 12.5.1)."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Final

from fastapi import Depends, Request

from service.api.problem_types import NOT_ACCEPTABLE
from service.api.problems import Refused
from service.delivery.table_file import XLSX_TYPE

JSON: Final = "application/json"
CSV: Final = "text/csv"
TABLES: Final = (JSON, CSV)
"""What routes that also answer as a table offer; without a preference, the first."""
SHEETS: Final = (*TABLES, XLSX_TYPE)
"""The same with a spreadsheet."""


@lru_cache(maxsize=512)
def preferred(accept: bytes | None, offered: tuple[str, ...]) -> str | None:
    """The media type among those offered that an Accept header prefers; None: it accepts none.

    Of equals the one that is offered first.

    >>> preferred(None, TABLES), preferred(b"text/csv, */*;q=0.1", TABLES)
    ('application/json', 'text/csv')
    >>> preferred(b"text/html", TABLES) is None, preferred(b"application/*", TABLES)
    (True, 'application/json')
    """
    if accept is None or not accept.strip():
        return offered[0]
    quality = dict.fromkeys(offered, 0.0)
    specific = dict.fromkeys(offered, -1)
    for part in accept.decode("latin-1").lower().split(","):
        kind, *parameters = (piece.strip() for piece in part.split(";"))
        weight = 1.0
        for parameter in parameters:
            if parameter.startswith("q="):
                try:
                    weight = float(parameter[2:])
                except ValueError:
                    weight = 0.0
        for name in offered:
            rank = {name: 2, f"{name.partition('/')[0]}/*": 1, "*/*": 0}.get(kind, -1)
            if rank > specific[name]:
                specific[name], quality[name] = rank, weight
    best = max(offered, key=lambda name: quality[name])
    return best if quality[best] > 0 else None


def wants_csv(request: Request) -> bool:
    """Whether a request prefers a table to JSON."""
    return form_wanted(request, TABLES) == CSV


def wants_spreadsheet(request: Request) -> bool:
    """Whether a request prefers a spreadsheet to JSON and to CSV."""
    return form_wanted(request, SHEETS) == XLSX_TYPE


def form_wanted(request: Request, offered: tuple[str, ...]) -> str:
    """The media type that a request prefers; the first where it accepts none of those offered."""
    return preferred(_accept_of(request), offered) or offered[0]


async def _check_accept(request: Request) -> None:
    offered = _offered_by(request.scope.get("route"))
    if offered and preferred(_accept_of(request), offered) is None:
        raise Refused(NOT_ACCEPTABLE)


ANSWERS_WHAT_IS_ACCEPTED: Final = Depends(_check_accept)
"""Dependency of a router: what would be answered in no form that the caller accepts is refused
before anything is done.
"""


def _accept_of(request: Request) -> bytes | None:
    values = [value for name, value in request.scope["headers"] if name == b"accept"]
    return b",".join(values) if values else None


def _offered_by(route: Any) -> tuple[str, ...]:
    """The media types that a route declares for its success; empty where that has no body."""
    status = getattr(route, "status_code", None) or 200
    if status == 204:
        return ()
    responses = getattr(route, "responses", {})
    declared = responses.get(status) or responses.get(str(status)) or {}
    return tuple(declared.get("content", ())) or (JSON,)
