"""The rules of the breakers."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.records.weather import BreakerState
from service.weather_sources.breaker import (
    CELL_WINDOW,
    FAILURE_LIMIT,
    HOST_WINDOW,
    PAUSE,
    Breaker,
    add_failures,
    claim_probe,
    closed_state,
    is_due_for_probe,
    is_open,
)

AT = datetime(2026, 7, 7, 12, 0, tzinfo=UTC)
HOST = Breaker("service|host")


def fail(state: BreakerState, failures: int = 1, *, at: datetime = AT) -> BreakerState:
    return add_failures(HOST, state, failures, at=at, reason="http-502")


def test_four_failures_leave_it_closed_and_the_fifth_opens_it_for_ten_minutes() -> None:
    state = fail(closed_state(HOST.key), 4)
    assert not is_open(state, AT)
    state = fail(state)
    assert is_open(state, AT)
    assert is_open(state, AT + PAUSE - timedelta(seconds=1))
    assert not is_open(state, AT + PAUSE)
    assert is_due_for_probe(state, AT + PAUSE)
    assert state.last_reason == "http-502"


def test_failures_older_than_the_window_are_forgotten() -> None:
    state = fail(closed_state(HOST.key), 4)
    state = fail(state, 4, at=AT + HOST_WINDOW)
    assert not is_open(state, AT + HOST_WINDOW)
    assert state.failure_count == 4


def test_a_cell_remembers_failures_from_one_refresh_to_the_next() -> None:
    cell = Breaker("service|host|cell", CELL_WINDOW)
    state = add_failures(cell, closed_state(cell.key), 4, at=AT, reason="http-500")
    later = AT + timedelta(minutes=15)
    assert is_open(add_failures(cell, state, 4, at=later, reason="http-500"), later)


def test_a_claimed_probe_keeps_everybody_else_out() -> None:
    state = fail(closed_state(HOST.key), FAILURE_LIMIT)
    due = AT + PAUSE
    assert is_open(claim_probe(state, due), due)


def test_a_probe_that_fails_prolongs_the_pause_whatever_the_window() -> None:
    state = claim_probe(fail(closed_state(HOST.key), FAILURE_LIMIT), AT + PAUSE)
    much_later = AT + 10 * PAUSE
    state = fail(state, 1, at=much_later)
    assert is_open(state, much_later + PAUSE - timedelta(seconds=1))


def test_a_service_that_names_a_time_is_left_alone_until_then() -> None:
    until = AT + timedelta(hours=7)
    state = add_failures(
        HOST, closed_state(HOST.key), 1, at=AT, reason="quota", asked_back_at=until
    )
    assert is_open(state, until - timedelta(seconds=1))
    assert not is_open(state, until)


@given(
    st.lists(st.tuples(st.integers(0, 1800), st.integers(1, 4)), min_size=1, max_size=30),
)
def test_it_is_never_both_open_and_due_and_never_counts_below_the_last_failures(
    events: list[tuple[int, int]],
) -> None:
    state, at = closed_state(HOST.key), AT
    for wait_s, failures in events:
        at += timedelta(seconds=wait_s)
        state = fail(state, failures, at=at)
        assert not (is_open(state, at) and is_due_for_probe(state, at))
        assert state.failure_count >= failures
        assert is_open(state, at) or state.failure_count < FAILURE_LIMIT
