"""Bearer keys, and the answers kept for requests that are repeated."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiKey:
    """A bearer key as stored; the key itself is known only to its holder."""

    key_id: str
    """The part of the key that may be shown."""
    name: str
    """The person or device that holds it."""
    farm_id: str | None
    """The farm it is bound to, which need not exist yet; None: the whole region."""
    scopes: frozenset[str]
    sha256: str
    """Digest of the whole key, in hexadecimal."""
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    last_used_at: datetime | None = None

    def is_live(self, at: datetime) -> bool:
        """Whether the key is valid at an instant."""
        return self.revoked_at is None and (self.expires_at is None or at < self.expires_at)


@dataclass(frozen=True, slots=True)
class RequestTally:
    """How many requests were counted in a window, which ends so many seconds from now."""

    request_count: int
    ends_in_s: float


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """The answer that a request with an idempotency key got."""

    request_digest: str
    status: int
    body: bytes
    stored_at: datetime
