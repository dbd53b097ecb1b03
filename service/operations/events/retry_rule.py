"""When an event that was not taken is sent again, and when it is given up.

A receiver that cannot be reached, is busy, or knows nothing of the address or the sender may be
mended, so that its events wait, in their order, for three days. One that has read an event and will
not have it does not change its mind, and must not hold up those behind it.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from service.records.events import Attempt, DeliveryState, StoredEvent

FIRST_WAIT_S = 10.0
LONGEST_WAIT_S = 3600.0
LONGEST_ASKED_WAIT = timedelta(days=1)
"""A receiver that asks for a longer wait is asked again after this time all the same."""
GIVE_UP_AFTER = timedelta(days=3)
"""How long an event waits; our own choice, as all numbers here."""
REFUSING = frozenset({400, 413, 415, 422})
"""Answers that are about the event itself."""
MOST_REFUSALS = 5
DISABLE_AFTER = timedelta(days=5)
"""How long every attempt may fail before nothing more is sent."""
GONE = 410


def wait_after(attempt_count: int, *, chance: float) -> timedelta:
    """The wait after so many attempts: doubling, up to an hour, a quarter more or less by chance.

    chance: [-] from 0 to 1, so that receivers of one server are not all asked at once.
    >>> [wait_after(count, chance=0.5).total_seconds() for count in (1, 2, 3, 20)]
    [10.0, 20.0, 40.0, 3600.0]
    """
    wait_s = min(FIRST_WAIT_S * 2.0 ** min(attempt_count - 1, 16), LONGEST_WAIT_S)
    return timedelta(seconds=wait_s * (0.75 + 0.5 * chance))


def state_after(event: StoredEvent, attempt: Attempt) -> DeliveryState:
    """Where an event stands after an attempt, its age apart."""
    if attempt.is_delivered:
        return DeliveryState.DELIVERED
    is_refused = attempt.status in REFUSING and event.attempt_count + 1 >= MOST_REFUSALS
    return DeliveryState.DEAD if is_refused else DeliveryState.WAITING


def next_try(event: StoredEvent, attempt: Attempt, *, chance: float) -> datetime:
    """When a receiver that failed is tried again: no sooner than it asked for."""
    wait = wait_after(event.attempt_count + 1, chance=chance)
    if attempt.wait is not None:
        wait = max(wait, min(attempt.wait, LONGEST_ASKED_WAIT))
    return attempt.at + wait


def why_disabled(failing_since: datetime, attempt: Attempt) -> str:
    """Why nothing more is sent to a receiver after a failed attempt; empty if it goes on."""
    if attempt.status == GONE:
        return "the receiver answered 410: it is gone for good"
    if attempt.at - failing_since >= DISABLE_AFTER:
        return f"every attempt failed for {DISABLE_AFTER.days} days: {attempt.reply}"[:200]
    return ""
