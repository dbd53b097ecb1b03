"""Runs: stored once, late or not, with the balance and tomorrow's plan behind them."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import replace
from typing import Any

import httpx
import pytest

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access import answer_once as answer_once_module
from service.operations.reading.read_plans import get_block
from tests.api.callers import Caller
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    FixedClock,
    opened_service,
    plan_evening,
)
from tests.patience import PATIENCE_S

PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
BALANCE = f"/v1/blocks/{BLOCK_ID}/balance"


def run_of(minutes: float = 60, at: str = "2026-07-14T05:00:00-04:00", **more: Any) -> Any:
    """A body with one run."""
    return {"items": [{"block_id": BLOCK_ID, "started_at": at, "duration_min": minutes, **more}]}


def _day(caller: Caller, day: str = "2026-07-14") -> dict[str, Any]:
    items = caller.get(BALANCE, params={"from": day, "to": day}).json()["items"]
    found: dict[str, Any] = items[0]
    return found


def test_a_report_changes_balance_and_tomorrows_plan_before_it_is_answered(caller: Caller) -> None:
    before, plan = _day(caller), caller.get(PLAN).json()
    answer = caller.post("/v1/runs", run_of(240))
    assert answer.status_code == 200, answer.text
    counts = answer.json()["counts"]
    assert counts["created_count"] == 1 and counts["new_plan_count"] >= 1
    after, new_plan = _day(caller), caller.get(PLAN).json()
    assert after["irrigation_origin"] == "reported"
    assert after["irrigation_gross_mm"] > before["irrigation_gross_mm"]
    assert after["depletion_end_mm"] < before["depletion_end_mm"]
    assert new_plan["version"] == plan["version"] + 1
    assert new_plan["planned_min"] <= plan["planned_min"]


def test_the_same_run_again_changes_nothing(caller: Caller) -> None:
    caller.post("/v1/runs", run_of())
    version = caller.get(PLAN).json()["version"]
    counts = caller.post("/v1/runs", run_of()).json()["counts"]
    assert counts == {
        "created_count": 0, "changed_count": 0, "unchanged_count": 1, "new_plan_count": 0,
    }  # fmt: skip
    assert caller.get(PLAN).json()["version"] == version


def test_other_minutes_for_the_same_start_correct_the_run(caller: Caller) -> None:
    caller.post("/v1/runs", run_of(60))
    first = _day(caller)["irrigation_gross_mm"]
    assert caller.post("/v1/runs", run_of(30)).json()["counts"]["changed_count"] == 1
    assert _day(caller)["irrigation_gross_mm"] == pytest.approx(first / 2)


def test_a_late_report_reaches_back_and_the_ledger_follows(caller: Caller) -> None:
    later = _day(caller, "2026-07-10")
    caller.post("/v1/runs", run_of(120, "2026-07-06T05:00:00-04:00"))
    assert _day(caller, "2026-07-06")["irrigation_origin"] == "reported"
    assert _day(caller, "2026-07-10")["depletion_start_mm"] < later["depletion_start_mm"]


def test_a_report_needs_an_idempotency_key(caller: Caller) -> None:
    answer = caller.request("POST", "/v1/runs", json=run_of())
    assert (answer.status_code, answer.json()["type"]) == (
        400, "/problems/idempotency-key-missing",
    )  # fmt: skip
    for odd in ("", '""', "two words", "\x7f", "x" * 300):
        answer = caller.request("POST", "/v1/runs", json=run_of(), headers={"Idempotency-Key": odd})
        assert answer.status_code == 400, odd


def test_a_report_sent_twice_is_answered_twice_and_counted_once(caller: Caller) -> None:
    first = caller.post("/v1/runs", run_of(), once="one")
    again = caller.post("/v1/runs", run_of(), once="one")
    assert (again.status_code, again.content) == (200, first.content)
    assert first.json()["counts"]["created_count"] == 1


def test_an_idempotency_key_belongs_to_one_request(caller: Caller) -> None:
    caller.post("/v1/runs", run_of(60), once="one")
    answer = caller.post("/v1/runs", run_of(61), once="one")
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/idempotency-key-taken")
    assert answer.json()["errors"][0]["parameter"] == "Idempotency-Key"
    assert _day(caller)["irrigation_gross_mm"] > 0


def test_a_refused_report_leaves_its_key_free(caller: Caller) -> None:
    bad = run_of(60, "2030-01-01T00:00:00Z")
    assert caller.post("/v1/runs", bad, once="one").status_code == 422
    assert caller.post("/v1/runs", run_of(), once="one").status_code == 200


def test_an_idempotency_key_is_forgotten_after_two_days(
    own_service: Service, caller: Caller
) -> None:
    from datetime import timedelta

    assert isinstance(own_service.clock, FixedClock)
    caller.post("/v1/runs", run_of(60), once="one")
    own_service.clock.instant += timedelta(hours=48)
    assert caller.post("/v1/runs", run_of(61), once="one").status_code == 200


@pytest.fixture
def two_processes(
    own_service: Service, caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Caller, Caller]]:
    """Two callers with one key, each at an application with connections of its own.

    What a process remembers of requests that are under way is as if it were another one's.
    """
    monkeypatch.setattr(answer_once_module, "_running", lambda once: nullcontext())
    with opened_service(own_service.settings.database_url) as other:
        yield caller, replace(caller, app=create_app(other))


def _at_once(*asks: Callable[[], httpx.Response]) -> list[httpx.Response]:
    """The answers to requests that are sent at the same moment."""
    gate = threading.Barrier(len(asks))

    def ask(one: Callable[[], httpx.Response]) -> httpx.Response:
        gate.wait(timeout=PATIENCE_S)
        return one()

    with ThreadPoolExecutor(len(asks)) as pool:
        return list(pool.map(ask, asks))


def test_two_processes_that_replan_a_farm_do_it_one_after_the_other(
    two_processes: tuple[Caller, Caller], own_service: Service
) -> None:
    first, second = two_processes
    of_south = {"items": [{**run_of(300)["items"][0], "block_id": BARE_BLOCK_ID}]}
    answers = _at_once(
        lambda: first.post("/v1/runs", run_of(240)), lambda: second.post("/v1/runs", of_south)
    )
    assert [each.status_code for each in answers] == [200, 200]
    with own_service.unit_of_work(write=False) as unit:
        for block_id in (BLOCK_ID, BARE_BLOCK_ID):
            found = [unit.plans.find_plan(block_id, day=PLAN_DAY, version=n) for n in (1, 2, 3, 4)]
            stored = [plan for plan in found if plan is not None]
            in_force = unit.plans.find_plan(block_id, day=PLAN_DAY)
            assert [plan.version for plan in stored] == list(range(1, len(stored) + 1))
            assert in_force == stored[-1]
    # The later process planned with both runs: nothing is left for the evening to change.
    assert plan_evening(own_service) == []
    with own_service.unit_of_work(write=False) as unit:
        assert unit.plans.find_plan(BARE_BLOCK_ID, day=PLAN_DAY) == in_force


def test_a_report_that_reaches_two_processes_at_once_counts_once(
    two_processes: tuple[Caller, Caller],
) -> None:
    first, second = two_processes
    answers = _at_once(
        lambda: first.post("/v1/runs", run_of(240), once="one"),
        lambda: second.post("/v1/runs", run_of(240), once="one"),
    )
    assert [each.status_code for each in answers] == [200, 200]
    assert answers[0].content == answers[1].content
    assert answers[0].json()["counts"]["created_count"] == 1
    assert first.get(PLAN).json()["version"] == 2


def test_a_batch_is_stored_whole_or_not_at_all(caller: Caller) -> None:
    body = run_of()
    body["items"].append(
        {"block_id": f"{FARM_ID}.nowhere", "started_at": body["items"][0]["started_at"],
         "duration_min": 10}
    )  # fmt: skip
    body["items"].append({**body["items"][0], "started_at": "2026-07-15T09:00:00Z"})
    answer = caller.post("/v1/runs", body)
    assert answer.status_code == 422
    assert {each["pointer"] for each in answer.json()["errors"]} == {
        "/items/1/block_id", "/items/2/started_at",
    }  # fmt: skip
    assert _day(caller)["irrigation_origin"] != "reported"


def test_a_thousand_runs_are_taken_and_ten_thousand_are_not(caller: Caller) -> None:
    def body(count: int) -> Any:
        return {
            "items": [
                {
                    "block_id": (BLOCK_ID, BARE_BLOCK_ID)[place % 2],
                    "started_at": f"2026-07-{1 + place // 2 % 13:02d}T"
                    f"{place // 26 // 60 % 24:02d}:{place // 26 % 60:02d}:00-04:00",
                    "duration_min": 1,
                }
                for place in range(count)
            ]
        }

    answer = caller.post("/v1/runs", body(1000))
    assert answer.status_code == 200, answer.text
    assert answer.json()["counts"]["created_count"] == 1000
    answer = caller.post("/v1/runs", body(10_000))
    assert answer.status_code in (413, 422)
    answer = caller.post("/v1/runs", body(1001))
    assert answer.status_code == 422
    assert answer.json()["errors"] == [
        {"pointer": "/items", "detail": answer.json()["errors"][0]["detail"]}
    ]
    assert "1000" in answer.json()["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"duration_min": -1}, "/items/0/duration_min"),
        ({"duration_min": 1501}, "/items/0/duration_min"),
        ({"duration_min": "60"}, "/items/0/duration_min"),
        ({"duration_min": True}, "/items/0/duration_min"),
        ({"volume_l": -0.1}, "/items/0/volume_l"),
        ({"started_at": "2026-07-14T05:00:00"}, "/items/0/started_at"),
        ({"started_at": 1784019600}, "/items/0/started_at"),
        ({"started_at": "2026-02-30T05:00:00Z"}, "/items/0/started_at"),
        ({"started_at": "2024-07-14T05:00:00Z"}, "/items/0/started_at"),
        ({"block_id": "north"}, "/items/0/block_id"),
        ({"colour": "blue"}, "/items/0/colour"),
    ],
)
def test_a_fault_is_reported_by_place(
    reading_caller: Caller, change: dict[str, Any], pointer: str
) -> None:
    answer = reading_caller.post(
        "/v1/runs", run_of(**{}) | {"items": [{**run_of()["items"][0], **change}]}
    )
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]


@pytest.fixture(scope="module")
def reading_caller(service: Service) -> Caller:
    """A caller of the farm that tests only read: for reports that are refused."""
    return Caller(create_app(service))


@pytest.mark.parametrize(
    ("share", "minutes", "verdict"),
    [
        (1.0, 60, "as-expected"),
        (1.09, 60, "as-expected"),
        (1.12, 60, "leak-suspected"),
        (0.88, 60, "clogging-suspected"),
        (0.5, 20, "too-short"),
    ],
)
def test_metered_water_is_held_against_what_the_emitters_should_give(
    caller: Caller, own_service: Service, share: float, minutes: float, verdict: str
) -> None:
    block = get_block(BLOCK_ID, day=TODAY, unit_of_work=own_service.unit_of_work)
    expected_l = block.flow_l_per_h * minutes / 60.0
    # 0.75 acre, rows 10 ft, emitters 18 in, two lines, 0.5 gph: 32,670 ft2 / 15 ft2 x 2 = 4,356
    # emitters, 2,178 gal an hour, 8,244.6 L/h; by hand.
    assert block.flow_l_per_h == pytest.approx(8244.6, abs=0.1)
    flow = caller.post("/v1/runs", run_of(minutes, volume_l=share * expected_l)).json()["flow"]
    assert flow[0]["verdict"] == verdict
    assert flow[0]["flow_ratio"] == pytest.approx(share)
    assert flow[0]["band_fraction"] == 0.1
    assert caller.get(f"/v1/blocks/{BLOCK_ID}/flow").json() == flow[0]
