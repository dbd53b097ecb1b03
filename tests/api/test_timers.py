"""Timers in the API: what to set on each, and that it was set."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from tests.api.callers import Caller
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, FARM_ID, PLAN_DAY, with_timer

TIMERS = f"/v1/farms/{FARM_ID}/timers"
SET = f"/v1/blocks/{BLOCK_ID}/timer"
PLAN = f"/v1/blocks/{BLOCK_ID}/plan"


@pytest.fixture
def timer_caller(own_service: Service, caller: Caller) -> Caller:
    """A caller on a farm whose north block has a timer that nobody has set."""
    with_timer(own_service)
    return caller


def test_a_program_is_offered_and_once_set_is_what_the_plan_runs(timer_caller: Caller) -> None:
    (timer,) = timer_caller.get(TIMERS).json()["items"]
    assert (timer["block_id"], timer["set_program"]) == (BLOCK_ID, None)
    assert timer_caller.get(PLAN).json()["planned_min"] == 0
    offered = timer["to_set"]
    program = {"program_id": offered["program_id"], "set_from": PLAN_DAY.isoformat()}
    answer = timer_caller.post(SET, program)
    assert answer.status_code == 200, answer.text
    assert answer.json()["timer"]["set_program"]["program_id"] == offered["program_id"]
    assert answer.json()["timer"]["to_set"] is None
    plan = timer_caller.get(PLAN).json()
    starts = [pulse["start_local"][11:16] for pulse in plan["pulses"]]
    assert starts == offered["starts"]


def test_a_day_too_far_ahead_is_refused_at_its_place(timer_caller: Caller) -> None:
    answer = timer_caller.post(SET, {"set_from": "2030-01-01"})
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == ["/set_from"]
    assert timer_caller.get(TIMERS).json()["items"][0]["set_program"] is None


def test_a_block_without_a_timer_cannot_be_set(timer_caller: Caller) -> None:
    assert timer_caller.post(f"/v1/blocks/{BARE_BLOCK_ID}/timer", {}).status_code == 422
    assert timer_caller.post("/v1/blocks/nowhere.none/timer", {}).status_code == 404
