"""Checks request bodies before they are read: JSON in UTF-8, within the size limit.

Bodies refused before any route sees them, each with its own problem type: too large, too slow,
another media type or charset, not JSON (``NaN`` and ``Infinity`` are not), nested too deep.
"""

from __future__ import annotations

import asyncio
from email.message import Message as MimeMessage
from typing import Final

import orjson
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.access import TOOLS_PATH
from service.api.problem_types import (
    BODY_TOO_SLOW,
    MALFORMED_JSON,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemType,
)
from service.api.problems import problem_response

LARGEST_BODY_BYTES: Final = 1_000_000
LARGEST_FILE_BYTES: Final = 5_000_000
"""Where many things come in one request, as JSON or as a table."""
BODY_WITHIN_S: Final = 60.0
"""From the end of the request's head to the end of its body."""
_FILE_TYPES: Final = frozenset({"text/csv"})
_GUARDED_PATHS: Final = ("/v1/", TOOLS_PATH)
_METHODS: Final = frozenset({"POST", "PUT", "PATCH"})


class BodyGuard:
    """ASGI middleware over everything under /v1, and the tools for agents, that has a body."""

    def __init__(self, app: ASGIApp, *, large_paths: frozenset[str] = frozenset()) -> None:
        self._app = app
        self._large_paths = large_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Read the body and pass it on in one piece, or answer with a problem."""
        if (
            scope["type"] != "http"
            or scope["method"] not in _METHODS
            or not scope["path"].startswith(_GUARDED_PATHS)
        ):
            await self._app(scope, receive, send)
            return
        media_type, charset = _content_type(scope)
        is_large = scope["path"] in self._large_paths
        is_file = is_large and media_type in _FILE_TYPES
        largest = LARGEST_FILE_BYTES if is_large else LARGEST_BODY_BYTES
        try:
            async with asyncio.timeout(BODY_WITHIN_S):
                kind, body = await _read(scope, receive, largest)
        except TimeoutError:
            kind, body = BODY_TOO_SLOW, b""
        if kind is None and body and not is_file:
            kind = _fault_of(body, media_type, charset)
        if kind is not None:
            response = problem_response(Request(scope), kind)
            await response(scope, receive, send)
            return
        is_sent = False

        async def receive_again() -> Message:
            nonlocal is_sent
            if is_sent:
                return await receive()
            is_sent = True
            return {"type": "http.request", "body": body, "more_body": False}

        await self._app(scope, receive_again, send)


async def _read(scope: Scope, receive: Receive, largest: int) -> tuple[ProblemType | None, bytes]:
    declared = _header(scope, b"content-length")
    if declared is not None and declared.isdigit():
        # Twelve digits pass any limit, so that no number of a million digits is worked out.
        declared_bytes = int(declared.lstrip(b"0")[:12] or b"0")
        if declared_bytes > largest:
            return TOO_LARGE, b""
    chunks: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] != "http.request":  # the caller is gone
            return None, b""
        chunk = message.get("body", b"")
        size += len(chunk)
        if size > largest:
            return TOO_LARGE, b""
        chunks.append(chunk)
        if not message.get("more_body", False):
            return None, b"".join(chunks)


def _fault_of(body: bytes, media_type: str, charset: str) -> ProblemType | None:
    if media_type != "application/json" or charset not in ("utf-8", "utf8"):
        return UNSUPPORTED_MEDIA_TYPE
    try:
        orjson.loads(body)  # unlike Python's own parser it accepts neither NaN nor another charset
    except orjson.JSONDecodeError:
        return MALFORMED_JSON
    return None


def _content_type(scope: Scope) -> tuple[str, str]:
    header = MimeMessage()
    header["Content-Type"] = (_header(scope, b"content-type") or b"").decode(
        "latin-1"
    ) or "none/none"
    charset = header.get_param("charset", "utf-8")
    return header.get_content_type(), str(charset).lower()


def _header(scope: Scope, name: bytes) -> bytes | None:
    found: bytes | None = next((value for key, value in scope["headers"] if key == name), None)
    return found
