"""HTTP/1.1 with bounds on what a peer may send before a request is understood.

The web server's parser reads a head of any length and waits for it for ever. Here a head has a
size, a number of fields and a time, and names exactly one host (RFC 9112 section 3.2); who breaks
one of these is answered and disconnected before anything of the service has run.
"""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import Final

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

LARGEST_HEAD_BYTES: Final = 16_384
"""Of a request's address and header fields; browsers and proxies send some 2,000."""
MOST_HEADER_FIELDS: Final = 64
HEAD_WITHIN_S: Final = 10.0
"""From the opening of a connection, or the first byte of a later head, to the head's end."""


class _HeadRefused(Exception):
    """Ends the parser's work on a head."""


class BoundedHttp(HttpToolsProtocol):
    """The server's own protocol, for one connection, with a bounded head."""

    _head_bytes = 0
    _unfinished_bytes = 0
    _hosts = 0
    _in_head = True
    _refusal: HTTPStatus | None = None
    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(
        self,
        transport: asyncio.Transport,  # type: ignore[override]  # any transport, in the stub
    ) -> None:
        """As the server does it; the first head must come in time."""
        super().connection_made(transport)
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """As the server does it."""
        self._stop_waiting()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """As the server does it; a head that is not complete with this must be so in time."""
        had_begun = self._in_head and self._head_bytes > 0
        super().data_received(data)
        if not self._in_head or self._head_bytes == 0 or self.transport.is_closing():
            return
        if had_begun:  # all of this belongs to one head, whose current field may have no end
            self._unfinished_bytes += len(data)
            if self._unfinished_bytes > LARGEST_HEAD_BYTES:
                self._refusal = HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE
                self.send_400_response("")
                return
        if self._head_timer is None:
            self._await_head()

    def on_message_begin(self) -> None:
        """A new head."""
        self._head_bytes, self._unfinished_bytes, self._hosts = 1, 0, 0
        self._in_head = True
        super().on_message_begin()

    def on_url(self, url: bytes) -> None:
        """A piece of the address."""
        self._count(len(url))
        super().on_url(url)

    def on_header(self, name: bytes, value: bytes) -> None:
        """One header field."""
        self._count(len(name) + len(value))
        if len(self.headers) >= MOST_HEADER_FIELDS:
            self._refuse(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE)
        super().on_header(name, value)
        if self.headers[-1][0] == b"host":
            self._hosts += 1

    def on_headers_complete(self) -> None:
        """The end of the head."""
        if self._hosts > 1 or (self._hosts == 0 and self.parser.get_http_version() == "1.1"):
            self._refuse(HTTPStatus.BAD_REQUEST)
        self._in_head = False
        self._stop_waiting()
        super().on_headers_complete()

    def send_400_response(self, msg: str) -> None:
        """The answer to what cannot be taken, and the end of the connection."""
        status = self._refusal or HTTPStatus.BAD_REQUEST
        text = f"{status.phrase}\n".encode("ascii")
        self.transport.write(
            f"HTTP/1.1 {status.value} {status.phrase}\r\n"
            "content-type: text/plain; charset=us-ascii\r\n"
            f"content-length: {len(text)}\r\n"
            "cache-control: no-store\r\nconnection: close\r\n\r\n".encode("ascii")
            + text
        )
        self.transport.close()

    def _count(self, more_bytes: int) -> None:
        self._head_bytes += more_bytes
        if self._head_bytes > LARGEST_HEAD_BYTES:
            self._refuse(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE)

    def _refuse(self, status: HTTPStatus) -> None:
        self._refusal = status
        raise _HeadRefused(status.phrase)

    def _await_head(self) -> None:
        self._head_timer = self.loop.call_later(HEAD_WITHIN_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _give_up(self) -> None:
        self._head_timer = None
        if self.transport.is_closing():
            return
        self._refusal = HTTPStatus.REQUEST_TIMEOUT
        self.send_400_response("")
