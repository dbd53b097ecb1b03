"""What a peer may send before a request is understood, over real sockets."""

from __future__ import annotations

import asyncio
import logging
import select
import socket
import threading
from collections.abc import Iterator

import pytest
import uvicorn
from starlette.types import Receive, Scope, Send

from service.api import bounded_http
from service.api.bounded_http import LARGEST_HEAD_BYTES, MOST_HEADER_FIELDS, BoundedHttp

PATIENCE_S = 30.0
HELLO = b"GET / HTTP/1.1\r\nHost: localhost\r\n"


async def _app(scope: Scope, _receive: Receive, send: Send) -> None:
    assert scope["type"] == "http"
    await send(
        {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]}
    )
    await send({"type": "http.response.body", "body": b"ok"})


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The port of a server that answers ``ok`` to everything."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        config = uvicorn.Config(
            _app, http=BoundedHttp, ws="none", lifespan="off", log_config=None, log_level="error"
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(
            target=lambda: asyncio.run(server.serve(sockets=[listening])), daemon=True
        )
        thread.start()
        yield listening.getsockname()[1]
        server.should_exit = True
        thread.join(PATIENCE_S)
        assert not thread.is_alive()


def talk(port: int, *pieces: bytes) -> bytes:
    """All that the server sends back until it closes the connection."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as peer:
        try:
            for piece in pieces:
                peer.sendall(piece)
        except ConnectionError:
            pass  # the server has hung up, and what it said is still to be read
        heard = b""
        try:
            while more := peer.recv(65_536):
                heard += more
        except ConnectionError:
            pass
        return heard


def status_of(heard: bytes) -> int:
    """The status of the first answer."""
    return int(heard.split(b" ", 2)[1])


LAST = b"Connection: close\r\n\r\n"


def test_an_ordinary_request_is_answered(port: int) -> None:
    heard = talk(port, HELLO + LAST)
    assert status_of(heard) == 200
    assert heard.endswith(b"ok")


def test_requests_one_after_the_other_are_counted_one_by_one(port: int) -> None:
    padding = b"X-Padding: " + b"a" * (LARGEST_HEAD_BYTES // 2) + b"\r\n"
    heard = talk(port, *[HELLO + padding + b"\r\n"] * 5, HELLO + LAST)
    assert heard.count(b"HTTP/1.1 200") == 6


@pytest.mark.parametrize(
    ("head", "status"),
    [
        (b"GET / HTTP/1.1\r\n" + LAST, 400),  # RFC 9112 section 3.2
        (HELLO + b"Host: localhost\r\n" + LAST, 400),  # the same
        (b"GET / HTTP/1.0\r\n" + LAST, 200),
        (HELLO + b"X: 1\r\n" * (MOST_HEADER_FIELDS + 1) + LAST, 431),  # RFC 6585 section 5
        (HELLO + b"X: " + b"a" * LARGEST_HEAD_BYTES + b"\r\n" + LAST, 431),
        (b"GET /" + b"a" * LARGEST_HEAD_BYTES + b" HTTP/1.1\r\nHost: localhost\r\n" + LAST, 431),
        (b"BREW / HTTP/1.1\r\n" + LAST, 400),
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", 400),  # a TLS greeting
    ],
    ids=["no host", "two hosts", "1.0", "many fields", "long field", "long address", "verb", "tls"],
)
def test_heads_out_of_bounds_are_refused(port: int, head: bytes, status: int) -> None:
    heard = talk(port, head)
    assert status_of(heard) == status
    if status != 200:
        assert b"connection: close" in heard


@pytest.mark.parametrize(
    "piece", [b"X: " + b"a" * 1000 + b"\r\n", b"a" * 1000], ids=["many fields", "one field"]
)
def test_a_head_without_an_end_is_cut_off_at_its_size(port: int, piece: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as peer:
        peer.sendall(HELLO + b"X-Long: ")
        received = False
        peer.settimeout(0)
        for _ in range(1_000_000):
            try:
                peer.send(piece)
            except BlockingIOError:
                select.select([peer], [peer], [], PATIENCE_S)
            except ConnectionError:
                received = True
                break
            try:
                received = peer.recv(65_536).startswith(b"HTTP/1.1 431")
                break
            except BlockingIOError:
                continue
        assert received


@pytest.mark.parametrize("said", [b"", HELLO, HELLO + b"\r\n" + HELLO])
def test_a_head_that_does_not_come_is_not_waited_for(
    port: int, said: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bounded_http, "HEAD_WITHIN_S", 0.2)
    heard = talk(port, said)
    assert heard.split(b"HTTP/1.1 ")[-1].startswith(b"408")
    assert heard.count(b"HTTP/1.1 200") == said.count(b"\r\n\r\n")


def test_a_refusal_is_not_logged_as_an_error(port: int, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        talk(port, b"GET / HTTP/1.1\r\n" + LAST)
    assert caplog.records == []
