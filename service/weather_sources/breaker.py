"""When to leave a weather service alone: the rules of the breakers, as pure functions of a state.

A breaker counts failed exchanges with one host, or about one grid cell of a host. After
``FAILURE_LIMIT`` of them within a window it opens, and nothing is sent until the pause is over.
Then one process may send one probe; while it is out the breaker counts as open again for the
others. A probe that succeeds closes the breaker, one that fails prolongs the pause. The states are
kept in the database, so that all processes share them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from service.records.weather import BreakerState

FAILURE_LIMIT = 5
PAUSE = timedelta(minutes=10)
HOST_WINDOW = timedelta(minutes=10)
CELL_WINDOW = timedelta(hours=1)
"""A cell is asked for only a few times an hour, so that failures must be remembered longer."""


@dataclass(frozen=True, slots=True)
class Breaker:
    """A breaker's name and how long it remembers failures."""

    key: str
    window: timedelta = HOST_WINDOW


def closed_state(key: str) -> BreakerState:
    """The state of a breaker without failures."""
    return BreakerState(
        key=key, failure_count=0, window_began_at=None, open_until=None, last_reason=""
    )


def is_open(state: BreakerState, at: datetime) -> bool:
    """Nothing may be sent."""
    return state.open_until is not None and at < state.open_until


def is_due_for_probe(state: BreakerState, at: datetime) -> bool:
    """The pause is over, and one exchange may find out whether the service is back."""
    return state.open_until is not None and at >= state.open_until


def claim_probe(state: BreakerState, at: datetime) -> BreakerState:
    """The state while one's own probe is out: open for everybody else."""
    return replace(state, open_until=at + PAUSE)


def add_failures(
    breaker: Breaker,
    state: BreakerState,
    failures: int,
    *,
    at: datetime,
    reason: str,
    asked_back_at: datetime | None = None,
) -> BreakerState:
    """The state after failed exchanges; ``asked_back_at`` is when the service asked us to return.

    A breaker that was open (the failures are those of a probe) stays open for another pause.
    """
    began_at = state.window_began_at
    is_new_window = began_at is None or at - began_at >= breaker.window
    counted = failures + (0 if is_new_window else state.failure_count)
    pauses = [moment for moment in (asked_back_at, state.open_until) if moment is not None]
    if counted >= FAILURE_LIMIT or state.open_until is not None:
        pauses.append(at + PAUSE)
    return BreakerState(
        key=breaker.key,
        failure_count=counted,
        window_began_at=at if is_new_window else began_at,
        open_until=max(pauses, default=None),
        last_reason=reason,
    )
