"""Several API processes on one database: a change by one is visible in the answers of the others.

Each process here is a service with connections of its own and an application with copies of its
own. Copies may be a second old; what is not copied is read from the database each time.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access import answer_once
from service.operations.access.manage_keys import revoke_key
from tests.api.callers import new_key
from tests.api.conftest import Client, Ticker
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    bring_weather,
    opened_service,
    plan_evening,
)
from tests.api.paired_controllers import PROGRAM, SHED_CONTROLLER, checked_program, pair
from tests.patience import PATIENCE_S

BLOCK = f"/v1/blocks/{BLOCK_ID}"
PLAN = f"{BLOCK}/plan"
PAUSES = f"{BLOCK}/pauses"
DAY_LONG = {
    "starts_local": "2026-07-15T00:00", "ends_local": "2026-07-16T06:00", "reason": "spraying",
}  # fmt: skip
RUN = {"block_id": BLOCK_ID, "started_at": "2026-07-14T06:00:00-04:00", "duration_min": 30.0}


class Process:
    """An application of its own, asked with one key, without any help in seeing news."""

    def __init__(self, service: Service, key: str) -> None:
        self.service = service
        self.client = Client(create_app(service))
        self.key = key

    def ask(self, path: str, method: str = "GET", **options: Any) -> httpx.Response:
        """The answer to one request."""
        headers = {"Authorization": f"Bearer {self.key}", **options.pop("headers", {})}
        return self.client.request(method, path, headers=headers, **options)

    def post(self, path: str, body: Any, *, once: str | None = None) -> httpx.Response:
        """The answer to a report that counts once."""
        headers = {"Idempotency-Key": f'"{once or uuid4()}"'}
        return self.ask(path, "POST", json=body, headers=headers)

    def answers(self) -> tuple[bytes, dict[str, Any]]:
        """The plan, and the program without the server's time."""
        plan, program = self.ask(PLAN), self.ask(PROGRAM)
        assert (plan.status_code, program.status_code) == (200, 200)
        return plan.content, checked_program(program.content)


@pytest.fixture
def processes(own_service: Service, ticker: Ticker) -> Iterator[tuple[Process, Process]]:
    """Two processes on one farm with a controller, both of which have answered before."""
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    token = new_key(own_service, FARM_ID)[1]
    with opened_service(own_service.settings.database_url) as other:
        both = Process(own_service, token), Process(other, token)
        assert both[0].answers() == both[1].answers()
        yield both


def test_a_new_plan_and_its_program_are_given_by_the_other_within_a_second(
    processes: tuple[Process, Process], ticker: Ticker
) -> None:
    one, other = processes
    before = other.answers()
    bring_weather(one.service, warmer_c=8.0)
    assert not plan_evening(one.service)
    ticker.seconds += 0.99
    assert other.answers() == before
    ticker.seconds += 0.01
    plan, program = other.answers()
    assert plan != before[0]
    assert program["version"] == before[1]["version"] + 1
    assert one.answers() == (plan, program)


def test_a_pause_through_one_stops_the_water_in_the_other_and_is_taken_back_through_it(
    processes: tuple[Process, Process], ticker: Ticker
) -> None:
    def openings(program: dict[str, Any]) -> list[Any]:
        found: list[Any] = program["channels"][0]["openings"]
        return found

    one, other = processes
    before = openings(other.answers()[1])
    assert before
    paused = one.post(PAUSES, DAY_LONG)
    assert paused.status_code == 200, paused.text
    pause_id = paused.json()["pause"]["pause_id"]
    assert pause_id in other.ask(PAUSES).text  # no copies are kept of these
    ticker.seconds += 1.0
    assert other.ask(PLAN).json()["pulses"] == []
    assert openings(other.answers()[1]) == []
    assert other.ask(f"{PAUSES}/{pause_id}", "DELETE").status_code == 200
    ticker.seconds += 1.0
    assert openings(one.answers()[1]) == before
    assert one.answers() == other.answers()


def test_a_key_made_through_one_opens_the_other_and_revoked_is_refused_there(
    processes: tuple[Process, Process], ticker: Ticker
) -> None:
    one, other = processes
    key, token = new_key(one.service, FARM_ID)
    ticker.seconds += 1.0
    guest = Process(other.service, token)
    guest.client = other.client
    assert guest.ask(PLAN).status_code == 200
    assert revoke_key(key.key_id, unit_of_work=one.service.unit_of_work, clock=one.service.clock)
    ticker.seconds += 1.0
    for path in (PLAN, PROGRAM, BLOCK):
        assert guest.ask(path).status_code == 401
        assert other.ask(path).status_code == 200


def test_a_controller_taken_out_through_one_is_gone_in_the_other(
    processes: tuple[Process, Process], ticker: Ticker
) -> None:
    one, other = processes
    pair(one.service, FARM_ID)
    ticker.seconds += 1.0
    assert [each.ask(PROGRAM).status_code for each in processes] == [410, 410]
    pair(other.service, FARM_ID, SHED_CONTROLLER)
    ticker.seconds += 1.0
    assert [each.ask(PROGRAM).status_code for each in processes] == [200, 200]


def test_of_two_changes_through_two_processes_the_second_is_refused(
    processes: tuple[Process, Process],
) -> None:
    one, other = processes
    table = one.ask(f"/v1/farms/{FARM_ID}").json()["block"][0]
    held = {"If-Match": one.ask(BLOCK).headers["ETag"]}
    first = one.ask(BLOCK, "PUT", json={**table, "name": "First"}, headers=held)
    assert first.status_code == 200, first.text
    second = other.ask(BLOCK, "PUT", json={**table, "name": "Second"}, headers=held)
    assert second.status_code == 412
    assert other.ask(BLOCK).json()["name"] == "First"


def test_a_report_that_goes_to_two_processes_counts_once(
    processes: tuple[Process, Process],
) -> None:
    one, other = processes
    once, body = str(uuid4()), {"items": [RUN]}
    first, again = (each.post("/v1/runs", body, once=once) for each in (one, other))
    assert first.status_code == 200, first.text
    assert first.json()["counts"]["created_count"] == 1
    assert (again.status_code, again.content) == (200, first.content)


class _OfAnotherProcess(set[object]):
    """What this process has under way, as another process sees it: not at all."""

    def __contains__(self, _request: object) -> bool:
        """Never."""
        return False


def test_a_report_that_goes_to_two_processes_at_the_same_time_counts_once(
    processes: tuple[Process, Process], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answer_once, "_under_way", _OfAnotherProcess())
    once, body = str(uuid4()), {"items": [RUN]}
    at_once = threading.Barrier(2, timeout=PATIENCE_S)
    answers: list[httpx.Response] = []

    def report(process: Process) -> None:
        at_once.wait()
        answers.append(process.post("/v1/runs", body, once=once))

    threads = [threading.Thread(target=report, args=(each,)) for each in processes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=PATIENCE_S)
    first, second = answers
    assert (first.status_code, second.status_code) == (200, 200), (first.text, second.text)
    assert first.content == second.content
    assert first.json()["counts"]["created_count"] == 1
