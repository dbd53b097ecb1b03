"""Text is sent compressed to whoever can read it so; answers with an entity tag are not."""

from __future__ import annotations

import asyncio
import gzip

import pytest
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.types import Message

from service.api.compression import SHORTEST_BYTES, Compression

LONG = "one valve after another " * 200


def answered(
    response: Response, *, accepts: str = "gzip", method: str = "GET"
) -> tuple[dict[str, str], bytes]:
    """Headers and body as sent."""
    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        await asyncio.Event().wait()  # nobody sends anything, and nobody hangs up
        raise AssertionError

    scope = {"type": "http", "method": method, "path": "/", "headers": [
        (b"accept-encoding", accepts.encode())]}  # fmt: skip
    asyncio.run(Compression(response)(scope, receive, send))
    headers = {key.decode(): value.decode() for key, value in sent[0]["headers"]}
    return headers, b"".join(message.get("body", b"") for message in sent[1:])


def test_text_is_compressed_and_says_its_new_length() -> None:
    headers, body = answered(PlainTextResponse(LONG, headers={"Vary": "Cookie"}))
    assert headers["content-encoding"] == "gzip" and headers["vary"] == "Cookie, Accept-Encoding"
    assert int(headers["content-length"]) == len(body) < len(LONG) / 10
    assert gzip.decompress(body).decode() == LONG


@pytest.mark.parametrize("accepts", ["", "br", "gzip;q=0", "gzip;q=none", "identity, *;q=0"])
def test_whoever_cannot_read_it_gets_it_plain_and_caches_are_told(accepts: str) -> None:
    headers, body = answered(PlainTextResponse(LONG), accepts=accepts)
    assert body.decode() == LONG
    assert "content-encoding" not in headers and headers["vary"] == "Accept-Encoding"


@pytest.mark.parametrize(
    "response",
    [
        PlainTextResponse(LONG, headers={"ETag": '"1"'}),
        PlainTextResponse("x" * (SHORTEST_BYTES - 1)),
        PlainTextResponse(LONG, headers={"Content-Encoding": "br"}),
        Response(LONG.encode(), media_type="font/woff2"),
        StreamingResponse(iter([LONG, LONG]), media_type="text/plain"),
    ],
    ids=["with a tag", "short", "compressed already", "no text", "in pieces"],
)
def test_what_compression_would_harm_or_not_help_is_left(response: Response) -> None:
    headers, body = answered(response)
    assert headers.get("content-encoding") in (None, "br")
    assert body[:10] == (LONG if b"one" in body else "x" * 10).encode()[:10]


def test_an_answer_to_head_does_not_state_the_length_of_the_plain_text() -> None:
    headers, _ = answered(PlainTextResponse(LONG), method="HEAD")
    assert "content-length" not in headers
