"""One exchange with a weather service: a GET request and its answer, within bounds, or a failure.

Every failure says whether another attempt may help, whether the service or the question is at
fault, whether it concerns a single grid cell, and how long the service asked us to wait.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import httpx
import orjson

from service.records.retry_after import retry_after_wait
from service.weather_sources.request import JsonRequest, RequestFailed

RETRIED_STATUSES = frozenset({408, 425, 429, 500, 502, 503, 504})
LARGEST_BODY_BYTES = 2_000_000
LARGEST_REFUSAL_BYTES = 64_000
"""How much of an error body is read."""
LONGEST_REMARK = 200


class AttemptFailed(RequestFailed):
    """One exchange that failed, and what follows from it."""

    def __init__(
        self,
        reason: str,
        message: str,
        *,
        may_retry: bool = False,
        is_fault: bool = True,
        is_about_cell: bool = False,
        wait: timedelta | None = None,
    ) -> None:
        self.may_retry = may_retry
        self.is_fault = is_fault
        """Counts for the breakers: the service failed, not the question."""
        self.is_about_cell = is_about_cell
        """The host works; it failed for this grid cell."""
        self.wait = wait
        """How long the service asked us to wait."""
        super().__init__(reason, message)


@dataclass(frozen=True, slots=True)
class Body:
    """What was read."""

    content: object
    raw: bytes | None
    """None: the stored content has not changed."""
    headers: httpx.Headers


async def send(
    client: httpx.AsyncClient,
    request: JsonRequest,
    *,
    conditions: Mapping[str, str],
    known: object,
    moment: Callable[[], datetime],
) -> Body:
    """Send the request once; ``known`` is the stored content that the conditions refer to."""
    try:
        async with client.stream(
            "GET",
            request.url,
            params={**request.query, **request.secrets},
            headers=conditions,
        ) as response:
            if response.status_code == httpx.codes.NOT_MODIFIED and conditions:
                return Body(known, None, response.headers)
            return await _read(request, response, moment)
    except httpx.TimeoutException as error:
        raise AttemptFailed(
            "timeout", f"{request.place} did not answer in time", may_retry=True
        ) from error
    except (httpx.TransportError, httpx.DecodingError) as error:
        reason = "no-connection" if isinstance(error, httpx.ConnectError) else "broken-off"
        raise AttemptFailed(
            reason, f"{request.place}: {type(error).__name__}", may_retry=True
        ) from error


async def _read(
    request: JsonRequest, response: httpx.Response, moment: Callable[[], datetime]
) -> Body:
    status = response.status_code
    if 300 <= status < 400:
        # The target is not named: it may contain the key that was sent.
        raise AttemptFailed(
            "redirect",
            f"{request.place} answered {status}; redirects are not followed",
            is_fault=False,
        )
    if status != httpx.codes.OK:
        raise await _refusal(request, response, moment())
    raw = await _read_up_to(response, LARGEST_BODY_BYTES)
    if raw is None:
        raise AttemptFailed(
            "too-large", f"{request.place} sent more than {LARGEST_BODY_BYTES} bytes"
        )
    media = _media_type(response)
    if media != "application/json" and not media.endswith("+json"):
        raise AttemptFailed(
            "not-json",
            f"{request.place} sent {_plain(media) or 'no content type'} instead of JSON",
            may_retry=True,
        )
    try:
        content = orjson.loads(raw)  # strict: no NaN, no infinity, no text after the end
    except orjson.JSONDecodeError as error:
        raise AttemptFailed(
            "bad-json", f"{request.place} sent broken JSON: {error.msg}", may_retry=True
        ) from error
    try:
        request.check(content)
    except RequestFailed as fault:
        raise AttemptFailed(fault.reason, fault.message, is_fault=False) from fault
    return Body(content, raw, response.headers)


async def _refusal(request: JsonRequest, response: httpx.Response, at: datetime) -> AttemptFailed:
    status = response.status_code
    raw = await _read_up_to(response, LARGEST_REFUSAL_BYTES)
    remark = _remark(raw or b"")
    for secret in request.secrets.values():
        remark = remark.replace(secret, "***")
    wait = retry_after_wait(response.headers.get("retry-after"), at)
    if wait is None:
        wait = request.wait_in_text(remark, at)
    is_retried = status in RETRIED_STATUSES
    return AttemptFailed(
        "quota" if status == httpx.codes.TOO_MANY_REQUESTS else f"http-{status}",
        f"{request.place} answered {status}" + (f": {remark}" if remark else ""),
        may_retry=is_retried,
        is_fault=is_retried or status >= 500,
        is_about_cell=(
            request.cell is not None
            and status in (500, 503)
            and _media_type(response) == "application/problem+json"
        ),
        wait=wait if is_retried else None,
    )


async def _read_up_to(response: httpx.Response, limit: int) -> bytes | None:
    """The body, or None as soon as it is longer than the limit."""
    declared = response.headers.get("content-length", "")
    if re.fullmatch(r"[0-9]{1,18}", declared) and int(declared) > limit:
        return None
    chunks, size = [], 0
    async for chunk in response.aiter_bytes():
        size += len(chunk)
        if size > limit:
            return None
        chunks.append(chunk)
    return b"".join(chunks)


def _media_type(response: httpx.Response) -> str:
    value: str = response.headers.get("content-type", "")
    return value.partition(";")[0].strip().lower()


def _remark(raw: bytes) -> str:
    """The reason that a service gives for refusing, if it is in one of the usual places."""
    try:
        content = orjson.loads(raw)
    except orjson.JSONDecodeError:
        return ""
    if not isinstance(content, dict):
        return ""
    messages = content.get("messages")
    for words in (
        content.get("reason"),
        content.get("detail"),
        content.get("title"),
        messages[0] if isinstance(messages, list) and messages else None,
    ):
        if isinstance(words, str) and words:
            return _plain(words)
    return ""


def _plain(words: str) -> str:
    """Third-party text made fit for a log line: one line, printable, short."""
    return "".join(sign if sign.isprintable() else " " for sign in words)[:LONGEST_REMARK]
