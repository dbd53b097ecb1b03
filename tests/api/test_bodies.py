"""Bodies: refused with a problem that says why, before they are processed."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import pytest

from service.api import body_guard
from tests.api.callers import Caller
from tests.api.invented_farm import BLOCK_ID, FARM_ID

RUN = (
    b'{"items":[{"block_id":"test-farm.north","started_at":"2026-07-14T05:00:00Z",'
    b'"duration_min":%s}]}'
)
JSON = "application/json"


def send(caller: Caller, content: bytes, media_type: str | None = JSON, **headers: str) -> Any:
    """The answer to a raw body."""
    typed = {} if media_type is None else {"Content-Type": media_type}
    answer = caller.request(
        "POST",
        "/v1/runs",
        content=content,
        headers={"Idempotency-Key": '"one"', **typed, **headers},
    )
    if answer.status_code >= 400:
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert "hush" not in answer.text
    return answer


def problem_of(answer: Any) -> tuple[int, str]:
    """Status and type of a problem."""
    return answer.status_code, answer.json()["type"].removeprefix("/problems/")


@pytest.mark.parametrize(
    "content",
    [
        b"{hush",
        b"",
        RUN % b"NaN",
        RUN % b"Infinity",
        RUN % b"-Infinity",
        RUN % b"1e999",
        RUN % b"1" + b"hush",
        b"\xff\xfe{\x00}\x00",
        b'{"items": "\xe9"}',
        b"[" * 5000 + b"]" * 5000,
        b"'hush'",
    ],
    ids=lambda content: content[:24].decode("latin-1"),
)
def test_what_is_not_json(caller: Caller, content: bytes) -> None:
    answer = send(caller, content)
    # An empty body counts as none: what is missing is reported as a fault.
    assert problem_of(answer) == (
        (422, "invalid-request") if not content else (400, "malformed-json")
    )


@pytest.mark.parametrize(
    "media_type",
    [
        None,
        "text/plain",
        "text/csv",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/json; charset=utf-16",
        "application/json; charset=iso-8859-1",
        "application/jsonp",
        "hush",
    ],
)
def test_what_is_declared_as_something_else(caller: Caller, media_type: str | None) -> None:
    assert problem_of(send(caller, RUN % b"1", media_type)) == (415, "unsupported-media-type")


@pytest.mark.parametrize(
    "media_type", [JSON, "application/json; charset=UTF-8", "Application/JSON"]
)
def test_what_is_declared_as_json(caller: Caller, media_type: str) -> None:
    assert send(caller, RUN % b"1", media_type).status_code == 200


def test_a_large_body_is_refused_by_its_declared_length_and_by_its_real_one(
    caller: Caller,
) -> None:
    assert problem_of(send(caller, b" " * 1_000_001)) == (413, "too-large")
    for declared in ("9" * 30, "0" * 30 + "1000001"):
        answer = send(caller, b"{}", **{"Content-Length": declared})
        assert problem_of(answer) == (413, "too-large")
    assert problem_of(asyncio.run(_streamed(caller, 30, b" " * 100_000))) == (413, "too-large")
    assert send(caller, RUN % b"1" + b" " * 900_000).status_code == 200


async def _streamed(caller: Caller, count: int, chunk: bytes) -> Any:
    """The answer to a body that comes in chunks, without a declared length."""

    async def chunks() -> Any:
        for _ in range(count):
            yield chunk

    return await _sent(caller, chunks())


async def _sent(caller: Caller, content: Any) -> Any:
    transport = httpx.ASGITransport(app=caller.app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        return await client.post(
            "/v1/runs",
            content=content,
            headers={
                "Authorization": f"Bearer {caller.key}",
                "Idempotency-Key": '"one"',
                "Content-Type": JSON,
            },
        )


def test_a_body_that_does_not_come_is_not_waited_for(
    caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(body_guard, "BODY_WITHIN_S", 0.05)

    async def pieces() -> Any:
        yield b"{"
        await asyncio.Event().wait()

    answer = asyncio.run(_sent(caller, pieces()))
    assert problem_of(answer) == (408, "body-too-slow")


def test_without_a_key_no_body_is_read(caller: Caller) -> None:
    stranger = Caller(caller.app)
    assert stranger.request("POST", "/v1/runs", content=b" " * 2_000_000).status_code == 401


def test_numbers_that_json_takes_and_nobody_means_are_reported_by_place(caller: Caller) -> None:
    answer = send(caller, RUN % b"1e300")
    assert problem_of(answer) == (422, "invalid-request")
    assert answer.json()["errors"][0]["pointer"] == "/items/0/duration_min"


def test_a_table_of_a_block_is_held_to_the_same_rules(caller: Caller) -> None:
    answer = caller.request(
        "PUT",
        f"/v1/blocks/{BLOCK_ID}",
        content=b'{"area": 1e999}',
        headers={"Content-Type": JSON, "If-Match": "*"},
    )
    assert problem_of(answer) == (400, "malformed-json")


def test_headers_cannot_be_smuggled_into_an_answer(caller: Caller) -> None:
    answer = caller.get(f"/v1/farms/{FARM_ID}%0d%0aSet-Cookie:%20a=b")
    assert answer.status_code in (404, 422)
    assert "set-cookie" not in answer.headers
    pause = {
        "starts_local": "2026-08-01T00:00", "ends_local": "2026-08-02T00:00",
        "reason": "x\r\nSet-Cookie: a=b",
    }  # fmt: skip
    assert caller.post(f"/v1/blocks/{BLOCK_ID}/pauses", pause).status_code == 422
