"""How long another server asks us to wait: the header ``Retry-After``, RFC 9110 section 10.2.3."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime


def retry_after_wait(retry_after: str | None, at: datetime) -> timedelta | None:
    """The wait that a Retry-After header asks for, given in seconds or as a date; else None.

    >>> retry_after_wait("120", datetime(2026, 7, 7, tzinfo=UTC))
    datetime.timedelta(seconds=120)
    """
    text = (retry_after or "").strip()
    if re.fullmatch(r"[0-9]{1,9}", text):
        return timedelta(seconds=int(text))
    try:
        until = parsedate_to_datetime(text)
        # A date without a zone is GMT: HTTP knows no other.
        until = until if until.tzinfo is not None else until.replace(tzinfo=UTC)
        return max(until - at, timedelta(0))
    except (TypeError, ValueError, OverflowError):
        return None
