"""Compresses text that is sent to whoever says that they can read it so.

Left as they are: answers with an entity tag, which names the bytes that were sent (among them the
programs that controllers poll, where the microseconds count), answers in several pieces, and short
ones. What is secret in a page differs in every answer (see :mod:`service.pages.sessions`), so that
its compressed length tells nothing about it.
"""

from __future__ import annotations

import zlib
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SHORTEST_BYTES: Final = 1_000
_LEVEL: Final = 5
"""A tenth larger than the best, in a third of its time."""
_GZIP_WINDOW: Final = 16 + zlib.MAX_WBITS
_TEXTS: Final = ("text/", "image/svg+xml", "application/json", "application/problem+json")


class Compression:
    """Wraps an application; its answers of text become gzip where the request accepts it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request; other protocols pass through untouched."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        is_head = scope["method"] == "HEAD"
        is_accepted = accepts_gzip(Headers(scope=scope).get("accept-encoding", ""))
        waiting: Message | None = None

        async def send_shorter(message: Message) -> None:
            nonlocal waiting
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if _is_text(headers):
                    waiting = message
                    headers.add_vary_header("Accept-Encoding")
                    if is_accepted and is_head:
                        del headers["Content-Length"]  # that of GET would be another
                else:
                    await send(message)
                return
            if waiting is not None:
                start, waiting = waiting, None
                body = message.get("body", b"")
                is_whole = not (is_head or message.get("more_body"))
                if is_accepted and is_whole and len(body) >= SHORTEST_BYTES:
                    body = _gzip(body)
                    headers = MutableHeaders(scope=start)
                    headers["Content-Encoding"] = "gzip"
                    headers["Content-Length"] = str(len(body))
                    message = {**message, "body": body}
                await send(start)
            await send(message)

        await self._app(scope, receive, send_shorter)


def accepts_gzip(accept_encoding: str) -> bool:
    """Whether the header allows gzip (RFC 9110, 12.5.3).

    >>> [accepts_gzip(each) for each in ("br, gzip", "gzip;q=0", "*;q=0.5", "br", "")]
    [True, False, True, False, False]
    """
    qualities: dict[str, float] = {}
    for part in accept_encoding.lower().split(","):
        name, _, weight = part.strip().partition(";")
        try:
            qualities[name.strip()] = float(weight.strip().removeprefix("q=") or 1.0)
        except ValueError:
            qualities[name.strip()] = 0.0
    return qualities.get("gzip", qualities.get("*", 0.0)) > 0.0


def _is_text(headers: MutableHeaders) -> bool:
    return (
        headers.get("Content-Type", "").startswith(_TEXTS)
        and "ETag" not in headers
        and "Content-Encoding" not in headers
    )


def _gzip(body: bytes) -> bytes:
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, _GZIP_WINDOW)
    return packer.compress(body) + packer.flush()
