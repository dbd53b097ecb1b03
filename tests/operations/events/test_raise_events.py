"""What is told: of plans, of blocks short of water, of pauses, in the change's own transaction."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from service.database.session import UnitOfWork
from service.operations.evening.run_day import run_day
from service.operations.feedback.pause_blocks import cancel_pause, pause_block
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY
from tests.event_farm import EventFarm
from tests.webhook_receiver import Receiver

NOON = datetime.fromisoformat("2026-07-15T12:00")


def run_evening(farm: EventFarm, **changes: Any) -> None:
    service = farm.service
    run_day(
        TODAY + timedelta(days=1),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        **changes,
    )


def pause(unit: UnitOfWork, farm: EventFarm, *, days: int = 2) -> str:
    made, _ = pause_block(
        unit,
        BLOCK_ID,
        starts_local=NOON,
        ends_local=NOON + timedelta(days=days),
        reason="repair",
        reporter="office",
        replanning=farm.service.replanning,
    )
    return made.pause_id


def told(farm: EventFarm, receiver: Receiver) -> list[tuple[str, str]]:
    farm.deliver()
    return [(each.event["type"][15:-3], each.event["subject"]) for each in receiver.requests]


def test_an_evening_tells_of_each_plan_that_is_new(farm: EventFarm, receiver: Receiver) -> None:
    farm.wait(days=1)
    run_evening(farm)
    assert sorted(told(farm, receiver)) == [
        ("plan.published", f"{FARM_ID}.north"),
        ("plan.published", f"{FARM_ID}.south"),
    ]
    run_evening(farm)  # nothing has changed
    assert len(told(farm, receiver)) == 2


def test_an_event_says_what_its_plan_says(farm: EventFarm, receiver: Receiver) -> None:
    farm.wait(days=1)
    run_evening(farm)
    told(farm, receiver)
    with farm.service.unit_of_work(write=False) as unit:
        plans = {
            each.block_id: each
            for each in unit.plans.list_plans(day=TODAY + timedelta(days=2), farm_id=FARM_ID)
        }
    for received in receiver.requests:
        news, plan = received.event["data"], plans[received.event["subject"]]
        assert news["day"] == plan.day.isoformat()
        assert (news["version"], news["status"]) == (plan.version, plan.status)
        assert (news["planned_min"], news["pulse_count"]) == (plan.planned_min, len(plan.pulses))
        assert news["gross_mm"] == pytest.approx(plan.gross_mm, abs=5e-4)
        assert datetime.fromisoformat(news["issued_at"]) == plan.issued_at


def test_a_pause_is_told_with_the_plan_that_it_replaces(
    farm: EventFarm, receiver: Receiver
) -> None:
    with farm.service.unit_of_work(write=True) as unit:
        pause_id = pause(unit, farm)
    assert told(farm, receiver)[0] == ("block.paused", BLOCK_ID)
    assert ("plan.replaced", BLOCK_ID) in told(farm, receiver)
    assert receiver.requests[0].event["data"] == {
        "farm_id": FARM_ID,
        "block_id": BLOCK_ID,
        "pause_id": pause_id,
        "starts_local": "2026-07-15T12:00:00",
        "ends_local": "2026-07-17T12:00:00",
        "reason": "repair",
    }
    before = len(receiver.requests)
    parts: dict[str, Any] = {
        "unit_of_work": farm.service.unit_of_work, "replanning": farm.service.replanning,
    }  # fmt: skip
    cancel_pause(BLOCK_ID, pause_id, **parts)
    cancel_pause(BLOCK_ID, pause_id, **parts)
    assert told(farm, receiver)[before] == ("block.pause-canceled", BLOCK_ID)
    assert [kind for kind, _ in told(farm, receiver)].count("block.pause-canceled") == 1


def test_a_block_that_its_pause_leaves_short_is_told(farm: EventFarm, receiver: Receiver) -> None:
    with farm.service.unit_of_work(write=True) as unit:
        pause(unit, farm, days=10)
    for _ in range(4):
        farm.wait(days=1)
        run_day(
            farm.clock.now().date(),
            unit_of_work=farm.service.unit_of_work,
            clock=farm.clock,
            source_order=farm.service.source_order,
        )
    told(farm, receiver)
    short = [
        each.event["data"]
        for each in receiver.requests
        if each.event["type"] == "org.rillwright.block.short.v1"
        and each.event["subject"] == BLOCK_ID
    ]
    assert short[-1]["cause"] == "outage" and short[-1]["shortfall_mm"] > 0.5


def test_a_change_that_fails_tells_nothing(farm: EventFarm) -> None:
    with pytest.raises(RuntimeError), farm.service.unit_of_work(write=True) as unit:
        pause(unit, farm)
        raise RuntimeError
    assert farm.deliver().delivered_count == 0
