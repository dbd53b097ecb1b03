"""When an event is sent again, given up, and a receiver switched off."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.operations.events.retry_rule import (
    DISABLE_AFTER,
    MOST_REFUSALS,
    next_try,
    state_after,
    wait_after,
    why_disabled,
)
from service.records.events import Attempt, DeliveryState
from tests.operations.events.test_cloud_event import EVENT

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)


def attempt(status: int | None, wait: timedelta | None = None) -> Attempt:
    return Attempt(at=NOW, status=status, reply="", wait=wait)


@given(st.integers(1, 10_000), st.floats(0.0, 1.0))
def test_waits_grow_up_to_an_hour_and_a_quarter(count: int, chance: float) -> None:
    wait = wait_after(count, chance=chance)
    assert timedelta(seconds=7.5) <= wait <= timedelta(minutes=75)
    assert wait_after(count + 1, chance=chance) >= wait


@pytest.mark.parametrize(
    ("asked", "waits"),
    [
        (None, timedelta(seconds=10)),
        (timedelta(seconds=1), timedelta(seconds=10)),
        (timedelta(hours=3), timedelta(hours=3)),
        (timedelta(days=30), timedelta(days=1)),
    ],
)
def test_a_wait_that_is_asked_for_is_kept_within_a_day(
    asked: timedelta | None, waits: timedelta
) -> None:
    assert next_try(EVENT, attempt(503, asked), chance=0.5) == NOW + waits


@pytest.mark.parametrize("status", [200, 202, 204, 299])
def test_every_answer_of_success_counts(status: int) -> None:
    assert state_after(EVENT, attempt(status)) is DeliveryState.DELIVERED


@pytest.mark.parametrize("status", [None, 301, 401, 403, 404, 408, 409, 429, 500, 503])
def test_a_receiver_that_may_be_mended_is_waited_for(status: int | None) -> None:
    tried = replace(EVENT, attempt_count=1000)
    assert state_after(tried, attempt(status)) is DeliveryState.WAITING


@pytest.mark.parametrize("status", [400, 413, 415, 422])
def test_an_event_that_is_not_wanted_is_tried_a_few_times(status: int) -> None:
    before = replace(EVENT, attempt_count=MOST_REFUSALS - 2)
    last = replace(EVENT, attempt_count=MOST_REFUSALS - 1)
    assert state_after(before, attempt(status)) is DeliveryState.WAITING
    assert state_after(last, attempt(status)) is DeliveryState.DEAD


def test_a_receiver_is_switched_off_when_it_is_gone_or_after_days() -> None:
    assert "gone" in why_disabled(NOW, attempt(410))
    assert why_disabled(NOW - DISABLE_AFTER + timedelta(seconds=1), attempt(500)) == ""
    assert "5 days" in why_disabled(NOW - DISABLE_AFTER, attempt(500))
