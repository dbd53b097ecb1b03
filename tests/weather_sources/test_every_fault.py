"""Whatever a service does, the answer is the right weather or a gap with a label."""

from __future__ import annotations

import copy
import math
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.records.weather import WEATHER_FIELDS, SourceAnswer
from service.weather_sources.http import HttpPolicy, WeatherHttp
from service.weather_sources.nasa_power import NasaPower
from tests.weather_sources.fake_providers import (
    NAMED_FAULTS,
    PROVIDER_PATHS,
    FakeProviders,
    Fault,
    edited,
    html,
    redirect,
    status,
)
from tests.weather_sources.fakes import StoresInMemory
from tests.weather_sources.questions import (
    NO_PAUSE,
    NOW,
    SOURCES,
    assert_no_sentinels,
    fetch,
    make_http,
    make_site,
    make_source,
    reasons,
)

HASTY = HttpPolicy(total_deadline_s=1.0)
PASSING_FAULTS = {"500", "502-html", "503-expired", "broken-json", "text-tail", "reset", "nan"}
"""Faults after which the next attempt helps, if the service has recovered by then."""
REASONS = {
    "429": "quota",
    "429-retry-after": "quota",
    "500": "http-500",
    "502-html": "http-502",
    "503-expired": "http-503",
    "broken-json": "bad-json",
    "drip": "timeout",
    "nan": "bad-json",
    "reset": "broken-off",
    "text-tail": "bad-json",
    "too-large": "too-large",
}


def assert_same_weather(answer: SourceAnswer, other: SourceAnswer) -> None:
    assert answer.rows.days.tolist() == other.rows.days.tolist()
    for name in WEATHER_FIELDS:
        np.testing.assert_array_equal(answer.rows.fields[name], other.rows.fields[name])


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("fault", sorted(set(NAMED_FAULTS) - {"nan"}))
def test_a_lasting_fault_leaves_a_labelled_gap(
    source: str, fault: str, providers: FakeProviders, stores: StoresInMemory
) -> None:
    providers.order(PROVIDER_PATHS[source], NAMED_FAULTS[fault])
    http = make_http(stores, HASTY if fault == "drip" else None)
    answer = fetch(make_source(source, http, providers))
    assert len(answer.rows) == 0
    assert REASONS[fault] in reasons(answer)
    assert {problem.site_id for problem in answer.problems} == {"brook"}
    assert all(problem.source == source for problem in answer.problems)
    assert answer.request_count == len(providers.requests)


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("fault", sorted(PASSING_FAULTS - {"nan"}))
def test_a_fault_that_passes_costs_an_attempt_and_no_weather(
    source: str, fault: str, providers: FakeProviders, stores: StoresInMemory
) -> None:
    untroubled = fetch(make_source(source, make_http(StoresInMemory()), providers))
    providers.order(PROVIDER_PATHS[source], NAMED_FAULTS[fault], times=2)
    answer = fetch(make_source(source, make_http(stores), providers))
    assert_same_weather(answer, untroubled)
    assert answer.problems == untroubled.problems
    assert answer.request_count == untroubled.request_count + 2


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize(
    ("fault", "reason"),
    [
        (status(400, remark="No such parameter"), "http-400"),
        (status(403), "http-403"),
        (html(200), "not-json"),
        (redirect("https://elsewhere.invalid/v1/forecast?apikey=secret"), "redirect"),
        (status(204), "http-204"),
    ],
)
def test_an_answer_that_is_no_weather_is_named(
    source: str, fault: Fault, reason: str, providers: FakeProviders, http: WeatherHttp
) -> None:
    providers.order(PROVIDER_PATHS[source], fault)
    answer = fetch(make_source(source, http, providers))
    assert len(answer.rows) == 0
    assert reason in reasons(answer)
    assert not any("secret" in problem.message for problem in answer.problems)


@pytest.mark.parametrize("source", SOURCES)
def test_a_machine_that_is_not_there_leaves_a_labelled_gap(source: str, http: WeatherHttp) -> None:
    with FakeProviders() as gone:
        pass
    answer = fetch(make_source(source, http, gone))
    assert len(answer.rows) == 0
    assert reasons(answer) <= {"no-connection", "breaker-open"}


# --- what is hardly HTTP -----------------------------------------------------------------------


@contextmanager
def raw_server(reply: bytes) -> Iterator[str]:
    """Sends the same bytes to whoever connects."""

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.request.recv(65_536)
            self.wfile.write(reply)

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True
        block_on_close = False

        def handle_error(self, request: object, client_address: object) -> None:
            """A client that hangs up on this is right."""

    with Server(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()
        thread.join()


HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"


@pytest.mark.parametrize(
    "reply",
    [
        b"",
        b"220 mail.invalid ESMTP\r\n",
        b"\x00\xff" * 500,
        b"HTTP/1.1 200 OK\r\nX: " + b"a" * 200_000,
        b"HTTP/1.1 301 Moved\r\nLocation: http://[\r\nContent-Length: 0\r\n\r\n",
        b"HTTP/1.1 999 Odd\r\nContent-Length: 0\r\n\r\n",
        b"HTTP/1.1 304 Not Modified\r\n\r\n",
        HEAD + b"Content-Length: " + b"9" * 5_000 + b"\r\n\r\n{}",
        HEAD + b"Content-Length: -1\r\n\r\n{}",
        HEAD + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}",
        HEAD + b"Content-Encoding: gzip\r\nContent-Length: 2\r\n\r\n{}",
        HEAD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n{}",
        HEAD + b"Retry-After: \xff\r\nContent-Length: 0\r\n\r\n",
    ],
)
def test_broken_http_leaves_a_labelled_gap(reply: bytes, http: WeatherHttp) -> None:
    with raw_server(reply) as base_url:
        answer = fetch(NasaPower(http, base_url=base_url, pause=NO_PAUSE))
    assert len(answer.rows) == 0
    assert len(answer.problems) == 1


# --- any mutilation of the JSON --------------------------------------------------------------

STRANGE = st.sampled_from(
    [
        None,
        True,
        -999,
        -999.0,
        -99,
        1e300,
        10**400,
        "",
        "NaN",
        "2026-07-07",
        [],
        {},
        [None],
        {"a": 1},
    ]
)


def places(content: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    yield path
    if isinstance(content, dict):
        for key, each in content.items():
            yield from places(each, (*path, key))
    elif isinstance(content, list):
        for index, each in enumerate(content[:3]):
            yield from places(each, (*path, index))


@dataclass(frozen=True)
class Change:
    """One place of an answer, counted round and round, gets a strange value or goes."""

    place: int
    strange: Any
    is_removal: bool


CHANGES = st.lists(st.builds(Change, st.integers(0, 10_000), STRANGE, st.booleans()), min_size=1)


def changed(content: Any, changes: list[Change]) -> Any:
    for change in changes:
        paths = list(places(content))
        path = paths[change.place % len(paths)]
        if not path:
            return change.strange
        parent = content
        for step in path[:-1]:
            parent = parent[step]
        if change.is_removal:
            del parent[path[-1]]
        else:
            parent[path[-1]] = copy.deepcopy(change.strange)
    return content


@pytest.mark.parametrize("source", [*SOURCES, "nws-points"])
@settings(max_examples=40)
@given(changes=CHANGES)
def test_no_mutilated_answer_raises_or_brings_a_sentinel(
    running_providers: FakeProviders, source: str, changes: list[Change]
) -> None:
    running_providers.clear()
    running_providers.now = NOW
    running_providers.order(
        PROVIDER_PATHS[source], edited(lambda content: changed(content, changes))
    )
    http = make_http(StoresInMemory())
    sites = [make_site(), make_site("alder", latitude_deg=34.0)]
    answer = fetch(make_source(source.replace("points", "grid"), http, running_providers), sites)
    assert_no_sentinels(answer)
    for index in range(len(answer.rows)):
        assert math.isfinite(answer.rows.wind_height_m[index])
