"""Reported times: which clock they are on, and how far that clock may be off.

Clocks in the field are not set to the second, so a time a little ahead of ours counts as past.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

CLOCK_SLACK = timedelta(minutes=5)
"""How far the reporter's clock may be ahead of ours."""


def on_clock(given: datetime, zone: str) -> datetime:
    """A reported time with its zone; one without an offset is in ``zone``."""
    return given.replace(tzinfo=ZoneInfo(zone)) if given.tzinfo is None else given


def has_passed(instant: datetime, *, now: datetime) -> bool:
    """Whether a reported time can be in the past, given the slack of clocks."""
    return instant <= now + CLOCK_SLACK
