"""When something was measured or done, as those who report it say: by whose clock, and how exact.

Clocks in the field are not set to the second, so a time a little ahead of ours has passed too.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

CLOCK_SLACK = timedelta(minutes=5)
"""How far the clock of whoever reports may be ahead of ours."""


def on_clock(given: datetime, zone: str) -> datetime:
    """A reported time with its zone: one without any is on the clock of ``zone``."""
    return given.replace(tzinfo=ZoneInfo(zone)) if given.tzinfo is None else given


def has_passed(instant: datetime, *, now: datetime) -> bool:
    """Whether a time that somebody reports may have passed by now."""
    return instant <= now + CLOCK_SLACK
