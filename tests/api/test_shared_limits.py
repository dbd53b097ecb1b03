"""Limits over several processes: each is an application with connections and counts of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI

from service.api.app import create_app
from service.api.windows import SHARED_FROM, Windows
from service.bootstrap import Service
from service.errors import StorageFailed
from service.records.access import RequestTally
from tests.api.callers import Caller, new_key
from tests.api.invented_farm import BLOCK_ID, FARM_ID

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
NOW = datetime(2026, 7, 14, 23, 0, tzinfo=UTC)


def one_of(service: Service, **limits: str) -> FastAPI:
    """An application with other limits."""
    return create_app(replace(service, settings=service.settings.model_copy(update=limits)))


def statuses(caller: Caller, count: int) -> list[int]:
    return [caller.get(PLAN).status_code for _ in range(count)]


def test_two_processes_count_a_key_together_on_postgresql_and_apart_on_sqlite(
    own_service: Service,
) -> None:
    apps = [one_of(own_service, requests_per_key="6/minute") for _ in range(2)]
    key = new_key(own_service, FARM_ID)[1]
    one, other = (Caller(app, key) for app in apps)
    assert statuses(one, 3) + statuses(other, 2) == [200] * 5
    for app in apps:
        app.state.gate.share_counts()
    # Each has shared; the first learns of the other's with its next exchange.
    assert statuses(one, 1) == [200]
    apps[0].state.gate.share_counts()
    expected = [429, 429] if own_service.shares_counts else [200, 200]
    assert [*statuses(one, 1), *statuses(other, 2)][::2] == expected


def test_guesses_at_keys_are_counted_over_processes(own_service: Service) -> None:
    apps = [one_of(own_service, refused_keys_per_address="4/minute") for _ in range(2)]
    guess = "rw_guessed1_" + "a" * 32
    one, other = (Caller(app, guess) for app in apps)
    assert statuses(one, 5) == [401] * 4 + [429]
    apps[0].state.gate.share_counts()
    first = statuses(other, 1)
    apps[1].state.gate.share_counts()
    assert first + statuses(other, 1) == [401, 429 if own_service.shares_counts else 401]


# --- the rule of windows ------------------------------------------------------------------------


class Database:
    """Sums of a database, by a clock that a test sets."""

    def __init__(self) -> None:
        self.tallies: dict[str, RequestTally] = {}
        self.is_away = False
        self.exchange_count = 0

    def __call__(self, counts: Mapping[str, RequestTally]) -> Mapping[str, RequestTally]:
        self.exchange_count += 1
        if self.is_away:
            raise StorageFailed("away")
        for counter, tally in counts.items():
            known = self.tallies.get(counter, RequestTally(0, tally.ends_in_s))
            self.tallies[counter] = RequestTally(
                known.request_count + tally.request_count, known.ends_in_s
            )
        return {counter: self.tallies[counter] for counter in counts}


def asked(windows: Windows, times: int, *, most: int = 600) -> int:
    """What is counted after so many requests of one caller."""
    return [windows.count("ann", window_s=60, most=most) for _ in range(times)][-1]


def test_what_is_far_from_its_limit_is_not_written() -> None:
    database = Database()
    windows = Windows(database)
    assert asked(windows, 600 // SHARED_FROM) == 600 // SHARED_FROM
    windows.share()
    assert database.exchange_count == 0
    asked(windows, 1)
    windows.share()
    assert [each.request_count for each in database.tallies.values()] == [10]


def test_each_process_adds_only_what_it_has_not_yet_shared() -> None:
    database = Database()
    one, other = Windows(database), Windows(database)
    for windows, times in ((one, 20), (other, 30), (one, 5), (other, 5)):
        asked(windows, times)
        windows.share()
    assert [each.request_count for each in database.tallies.values()] == [60]
    assert asked(other, 1) == 61
    assert asked(one, 1) == 56  # as of its own last exchange
    assert not any("ann" in counter for counter in database.tallies)


def test_a_database_that_is_away_leaves_a_process_with_its_own_counts_and_loses_none(
    caplog: pytest.LogCaptureFixture,
) -> None:
    database = Database()
    windows = Windows(database)
    database.is_away = True
    asked(windows, 20)
    for _ in range(3):
        windows.share()
    assert asked(windows, 1) == 21
    assert caplog.text.count("counted by this process alone") == 1
    database.is_away = False
    windows.share()
    assert [each.request_count for each in database.tallies.values()] == [21]


def test_a_window_that_is_over_begins_at_nothing(time_moves: Callable[[float], None]) -> None:
    database = Database()
    windows = Windows(database)
    asked(windows, 30)
    windows.share()
    time_moves(61.0)
    assert asked(windows, 1) == 1


@pytest.fixture
def time_moves(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """Sets the clock of windows ahead."""
    ahead_s = 0.0
    real = time.time

    def move(by_s: float) -> None:
        nonlocal ahead_s
        ahead_s += by_s

    monkeypatch.setattr(time, "time", lambda: real() + ahead_s)
    return move


# --- the store ----------------------------------------------------------------------------------


def test_the_store_adds_within_a_window_and_begins_the_next(own_service: Service) -> None:
    def add(count: int, at: datetime, **more: Any) -> dict[str, RequestTally]:
        with own_service.unit_of_work(write=True, farm_keys=()) as unit:
            return unit.tallies.add({"b": RequestTally(count, 60.0), **more}, now=at)

    assert add(3, NOW) == {"b": RequestTally(3, 60.0)}
    later = NOW + timedelta(seconds=45)
    assert add(4, later, a=RequestTally(1, 5.0)) == {
        "a": RequestTally(1, 5.0),
        "b": RequestTally(7, 15.0),
    }
    assert add(2, NOW + timedelta(seconds=60)) == {"b": RequestTally(2, 60.0)}
    with own_service.unit_of_work(write=True, farm_keys=()) as unit:
        assert unit.tallies.prune(now=NOW + timedelta(seconds=60)) == 1
        assert unit.tallies.prune(now=NOW + timedelta(seconds=119)) == 0
