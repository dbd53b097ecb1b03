"""Answers as they are kept: for conditional requests, while they are fresh, and as evidence."""

from __future__ import annotations

import gzip
import hashlib
import re
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta

import httpx
import orjson

from service.records.retry_after import retry_after_wait
from service.records.weather import StoredPayload
from service.weather_sources.attempt import Body
from service.weather_sources.request import JsonRequest

LONGEST_FRESHNESS = timedelta(hours=6)
"""Longest freshness accepted from a service's caching headers."""


@dataclass(frozen=True, slots=True)
class KnownAnswer:
    """The answer to an earlier request, if it can be read."""

    payload: StoredPayload
    content: object


def payload_of(
    request: JsonRequest, known: KnownAnswer | None, body: Body, at: datetime
) -> StoredPayload:
    """What is kept of an answer that came at an instant."""
    etag = body.headers.get("etag")
    last_modified = body.headers.get("last-modified")
    if known is not None and body.raw is None:
        packed, digest = known.payload.body, known.payload.body_digest
        etag = etag or known.payload.etag
        last_modified = last_modified or known.payload.last_modified
    else:
        raw = body.raw or b""
        packed, digest = gzip.compress(raw, mtime=0), hashlib.sha256(raw).hexdigest()
    return StoredPayload(
        url_digest=request.url_digest,
        source=request.source,
        url=request.shown_url,
        fetched_at=at,
        etag=etag,
        last_modified=last_modified,
        expires_at=_expiry(request, body.headers, at),
        body_digest=digest,
        body=packed,
    )


def conditions_of(known: KnownAnswer | None) -> dict[str, str]:
    """Header fields that ask only for what has changed."""
    conditions = {}
    if known is not None and known.payload.etag:
        conditions["If-None-Match"] = known.payload.etag
    if known is not None and known.payload.last_modified:
        conditions["If-Modified-Since"] = known.payload.last_modified
    return conditions


def unpacked(payload: StoredPayload) -> KnownAnswer | None:
    """The stored content, or None where it cannot be read (then it is simply fetched again)."""
    try:
        return KnownAnswer(payload, orjson.loads(gzip.decompress(payload.body)))
    except (OSError, EOFError, zlib.error, orjson.JSONDecodeError):
        return None


def _expiry(request: JsonRequest, headers: httpx.Headers, at: datetime) -> datetime | None:
    if request.keep_for is not None:
        return at + request.keep_for
    control = headers.get("cache-control", "").lower()
    if "no-store" in control or "no-cache" in control:
        return None
    lifetime = re.search(r"(?<![a-z-])max-age=([0-9]{1,9})", control)
    if lifetime:
        return at + min(timedelta(seconds=int(lifetime[1])), LONGEST_FRESHNESS)
    expires = retry_after_wait(headers.get("expires"), at) if "expires" in headers else None
    return None if not expires else at + min(expires, LONGEST_FRESHNESS)
