"""Limits: a caller over its limit learns when to come back."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import httpx
import pytest

from service.api.app import create_app
from service.api.limits import address_of
from service.bootstrap import Service
from service.errors import SettingsInvalid
from tests.api.callers import Caller, new_key
from tests.api.invented_farm import BLOCK_ID, FARM_ID

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
WHY = f"/v1/blocks/{BLOCK_ID}/why"


def limited(service: Service, **limits: str) -> Any:
    """An application with other limits."""
    return create_app(replace(service, settings=service.settings.model_copy(update=limits)))


def must_wait(answer: httpx.Response) -> bool:
    """Whether an answer is 429 with a waiting time of up to a minute."""
    if answer.status_code != 429:
        return False
    assert answer.json()["type"] == "/problems/too-many-requests"
    assert 1 <= int(answer.headers["Retry-After"]) <= 60
    # draft-ietf-httpapi-ratelimit-headers: a policy by name with its quota and window in seconds;
    # of the same name, what remains and the seconds until there is more.
    policy = re.fullmatch(r'"(\w+)";q=(\d+);w=60', answer.headers["RateLimit-Policy"])
    assert policy
    assert answer.headers["RateLimit"] == f'"{policy[1]}";r=0;t={answer.headers["Retry-After"]}'
    return True


@pytest.mark.parametrize("path", [PLAN, WHY, "/v1/nowhere"])
def test_a_key_may_ask_so_many_times_a_minute(own_service: Service, path: str) -> None:
    app = limited(own_service, requests_per_key="5/minute")
    first, second = (Caller(app, new_key(own_service, FARM_ID)[1]) for _ in range(2))
    assert [must_wait(first.get(path)) for _ in range(7)] == [False] * 5 + [True] * 2
    assert not must_wait(second.get(path))
    assert first.get(path).headers["RateLimit-Policy"] == '"requests_per_key";q=5;w=60'


def test_all_keys_of_an_address_together_have_a_limit(own_service: Service) -> None:
    app = limited(own_service, requests_per_address="4/minute")
    callers = [Caller(app, new_key(own_service, FARM_ID)[1]) for _ in range(5)]
    assert [must_wait(each.get(WHY)) for each in callers] == [False] * 4 + [True]


def test_guessing_of_keys_is_slowed_and_good_keys_still_work(own_service: Service) -> None:
    app = limited(own_service, refused_keys_per_address="3/minute")
    good = Caller(app, new_key(own_service, FARM_ID)[1])
    guess = Caller(app, "rw_guessed1_" + "a" * 32)
    assert [guess.get(PLAN).status_code for _ in range(5)] == [401] * 3 + [429] * 2
    assert good.get(PLAN).status_code == 200


def test_secret_links_are_counted_by_address(own_service: Service) -> None:
    app = limited(own_service, requests_per_address="2/minute", requests_per_key="2/minute")
    answers = [Caller(app).get(f"/v1/calendars/{'x' * 43}.ics") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [404, 404, 429, 429]


def test_an_open_machine_is_not_limited(own_service: Service) -> None:
    app = limited(own_service, requests_per_key="1/minute", requests_per_address="1/minute")
    assert [Caller(app).get(PLAN).status_code for _ in range(4)] == [200] * 4


def test_a_limit_that_cannot_be_read_stops_the_start(own_service: Service) -> None:
    with pytest.raises(SettingsInvalid, match="RILLWRIGHT_REQUESTS_PER_KEY"):
        limited(own_service, requests_per_key="often")


def test_an_address_is_counted_as_a_household() -> None:
    assert address_of(("192.0.2.7", 1)) == "192.0.2.7"
    assert address_of(("::ffff:192.0.2.7", 1)) == "192.0.2.7"
    assert address_of(("2001:db8::1", 1)) == address_of(("2001:db8::ffff:1", 2))
    assert address_of(("2001:db8:0:1::1", 1)) != address_of(("2001:db8::1", 1))
    assert address_of(None) == "unknown"
