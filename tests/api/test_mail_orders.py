"""Reports and changes after the evening mail: readers get one more mail, if it matters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from service import bootstrap
from service.api.app import create_app
from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.mail import evening_mail
from service.records.mail import MailRow, Person
from tests.api.callers import Caller, new_key
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    FixedClock,
)
from tests.pages.conftest import Reader

ANA = Person(mail_address="ana@example.org", name="Ana")
PLAN = f"/v1/blocks/{BLOCK_ID}/plan"
PAUSE = {
    "starts_local": "2026-07-15T00:00", "ends_local": "2026-07-16T00:00", "reason": "harvest",
}  # fmt: skip
LITTLE_RAIN = {"rain_mm": 0.3, "read_at": "2026-07-14T07:00:00-04:00"}


@pytest.fixture
def service(own_service: Service) -> Service:
    """A planned farm with a relay; the evening mail to its one reader has gone out."""
    mailing = replace(
        own_service,
        settings=own_service.settings.model_copy(update={"mail_host": "relay.example.org"}),
    )
    assert mailing.after_publish is not None
    with mailing.unit_of_work(write=True) as unit:
        unit.people.save(ANA, farm_id=FARM_ID)
        keys = np.array([unit.blocks.farm_keys()[FARM_ID]], dtype=np.int64)
        mailing.after_publish(unit, keys, day=PLAN_DAY, issued_at=RUN_AT)
        (taken,) = unit.outbox.claim(owner="me", now=RUN_AT, lease_s=60, limit=9)
        assert unit.outbox.settle(taken.mail_key, owner="me", now=RUN_AT, state="sent")
    assert isinstance(mailing.clock, FixedClock)
    mailing.clock.instant = RUN_AT + timedelta(hours=2)  # 21:00 at the farm
    return mailing


@pytest.fixture
def caller(service: Service) -> Caller:
    return Caller(create_app(service), new_key(service, FARM_ID)[1])


def mails(service: Service) -> list[MailRow]:
    """All orders of mails, the newest first."""
    with service.unit_of_work(write=False) as unit:
        return unit.outbox.list_mails(first_queued_at=RUN_AT - timedelta(days=1))


def pause(caller: Caller) -> Any:
    return caller.post(f"/v1/blocks/{BLOCK_ID}/pauses", PAUSE)


def report_run(caller: Caller) -> Any:
    run = {
        "block_id": BARE_BLOCK_ID, "started_at": "2026-07-14T05:00:00-04:00", "duration_min": 900,
    }  # fmt: skip
    return caller.post("/v1/runs", {"items": [run]})


def report_soil(caller: Caller) -> Any:
    """A wet root zone."""
    return caller.post(
        f"/v1/blocks/{BLOCK_ID}/soil-readings",
        {"read_at": "2026-07-14T20:00:00-04:00", "depth_m": 0.2, "reach_m": 0.2,
         "volumetric_water": 0.23},
    )  # fmt: skip


def report_rain(caller: Caller) -> Any:
    """Heavy rain today."""
    return caller.post(
        "/v1/gauges/home/readings",
        {"rain_mm": 90.0, "read_at": "2026-07-14T20:30:00-04:00", "confirm": True,
         "covers_from": "2026-07-14T01:00:00-04:00"},
    )  # fmt: skip


def change_block(caller: Caller) -> Any:
    path = f"/v1/blocks/{BLOCK_ID}"
    table = caller.get(f"/v1/farms/{FARM_ID}").json()["block"][0]
    held = {"If-Match": caller.get(path).headers["ETag"]}
    return caller.request("PUT", path, json={**table, "daily_maximum": "60 min"}, headers=held)


@pytest.mark.parametrize("report", [pause, report_run, report_soil, report_rain, change_block])
def test_what_changes_the_minutes_orders_one_mail_more(
    service: Service, caller: Caller, report: Callable[[Caller], Any]
) -> None:
    (before,) = mails(service)
    answer = report(caller)
    assert answer.status_code == 200, answer.text
    new, old = mails(service)
    assert old == before
    assert old.state == "sent"
    assert (new.mail_address, new.farm_id, new.plan_day) == (ANA.mail_address, FARM_ID, PLAN_DAY)
    assert (new.kind, new.state) == ("evening", "queued")
    assert new.plan_version > old.plan_version
    with service.unit_of_work(write=True) as unit:
        now = service.clock.now()
        (taken,) = unit.outbox.claim(owner="me", now=now, lease_s=60, limit=9)
    for block, minutes in taken.order.content.items():
        assert caller.get(f"/v1/blocks/{block}/plan").json()["planned_min"] == minutes


def test_a_pause_taken_back_before_its_mail_went_out_leaves_one_mail_that_is_right(
    service: Service, caller: Caller
) -> None:
    made = pause(caller).json()["pause"]["pause_id"]
    taken_back = caller.request("DELETE", f"/v1/blocks/{BLOCK_ID}/pauses/{made}")
    assert taken_back.status_code == 200
    assert [each.state for each in mails(service)] == ["queued", "dropped", "sent"]


def test_what_leaves_the_minutes_nearly_as_they_were_orders_no_mail(
    service: Service, caller: Caller
) -> None:
    minutes = caller.get(PLAN).json()["planned_min"]
    answer = caller.post("/v1/gauges/home/readings", LITTLE_RAIN)
    assert answer.json()["counts"]["new_plan_count"] > 0
    assert abs(caller.get(PLAN).json()["planned_min"] - minutes) <= 5
    assert [each.state for each in mails(service)] == ["sent"]


def test_a_pause_entered_on_a_page_orders_one_mail_too(service: Service) -> None:
    page = f"/blocks/{BLOCK_ID}"
    key = new_key(service, FARM_ID)[1]
    reader = Reader(create_app(service))
    assert reader.sign_in(key).status_code == 303
    answer = reader.send(
        page, f"{page}/pauses",
        day="2026-07-15", time="00:00", end_day="2026-07-16", end_time="00:00", reason="harvest",
    )  # fmt: skip
    assert answer.headers["Location"].endswith("done=pauses-changed")
    assert [each.state for each in mails(service)] == ["queued", "sent"]


def test_without_a_relay_nothing_is_ordered(service: Service, own_service: Service) -> None:
    caller = Caller(create_app(own_service), new_key(own_service, FARM_ID)[1])
    assert pause(caller).json()["new_plan_count"] > 0
    assert [each.state for each in mails(service)] == ["sent"]


def test_what_fails_after_its_mail_was_ordered_leaves_nothing_behind(
    service: Service, caller: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = evening_mail.queue_evening_mails
    ordered = []

    def fail_at_last(unit: UnitOfWork, farm_keys: Any, *, day: Any, issued_at: datetime) -> int:
        ordered.append(order(unit, farm_keys, day=day, issued_at=issued_at))
        raise RuntimeError("killed")

    plan, pauses = caller.get(PLAN).json(), f"/v1/blocks/{BLOCK_ID}/pauses"
    monkeypatch.setattr(bootstrap, "queue_evening_mails", fail_at_last)
    assert caller.post(pauses, PAUSE, once="the-one").status_code == 500
    assert ordered == [1]
    assert [each.state for each in mails(service)] == ["sent"]
    assert caller.get(PLAN).json() == plan
    assert caller.get(pauses).json()["items"] == []

    monkeypatch.undo()
    again = caller.post(pauses, PAUSE, once="the-one")
    assert again.status_code == 200
    assert caller.get(PLAN).json()["planned_min"] == 0
    assert [each.state for each in mails(service)] == ["queued", "sent"]
