"""Signals: what an operator must hear of before growers do."""

from __future__ import annotations

from datetime import timedelta

import pytest

from service.bootstrap import Service
from service.operations.schedule.read_signals import Signals, read_signals
from service.records.controllers import ControllerDefinition
from service.records.mail import MailBacklog, MailOrder, Person
from tests.api.invented_farm import RUN_AT, TODAY


def signals_of(service: Service) -> Signals:
    return read_signals(
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        evening_lead_min=service.settings.evening_lead_min,
        free_bytes=service.free_bytes,
    )


def test_signals_say_what_waits_and_what_room_is_left(own_service: Service) -> None:
    before = signals_of(own_service)
    assert (before.mails, before.evening_margin) == (MailBacklog(0, None, 0), None)
    assert (before.without_weather_count, before.failing_refresh_count) == (0, 0)
    with own_service.unit_of_work(write=True) as unit:
        unit.people.save(Person(mail_address="ann@example.org", name="Ann"), farm_id="test-farm")
        (person,) = unit.people.list_people(farm_id="test-farm")
        order = MailOrder(
            person_key=person.person_key,
            farm_id="test-farm",
            plan_day=TODAY,
            kind="evening",
            expires_at=RUN_AT + timedelta(days=1),
        )
        unit.outbox.queue([order], at=RUN_AT)
    found = signals_of(own_service)
    assert found.mails == MailBacklog(1, RUN_AT, 0)


@pytest.mark.parametrize(("late_min", "margin_min"), [(0, 30), (60, -30)])
def test_the_margin_of_an_evening_is_what_was_left_before_its_hour(
    own_service: Service, late_min: int, margin_min: int
) -> None:
    due_at = RUN_AT - timedelta(minutes=45)
    done_at = due_at + timedelta(minutes=15 + late_min)
    with own_service.unit_of_work(write=True) as unit:
        key = f"evening:test-farm:{TODAY}"
        unit.runs.claim(key, job="evening", due_at=due_at, owner="a", now=done_at, lease_s=60)
        unit.runs.finish(key, owner="a", now=done_at, outcome="done")
    assert signals_of(own_service).evening_margin == timedelta(minutes=margin_min)


def test_a_refresh_that_is_tried_in_vain_for_an_hour_is_failing(own_service: Service) -> None:
    due_at = RUN_AT - timedelta(hours=2)
    with own_service.unit_of_work(write=True) as unit:
        unit.runs.claim(
            "weather:x", job="weather", due_at=due_at, owner="a", now=RUN_AT, lease_s=60
        )
        unit.runs.give_back("weather:x", owner="a", now=RUN_AT, retry_at=RUN_AT)
    assert signals_of(own_service).failing_refresh_count == 1


def test_a_controller_that_stopped_polling_is_silent(own_service: Service) -> None:
    with own_service.unit_of_work(write=True) as unit:
        shed = ControllerDefinition(
            controller_id="test-farm.shed", farm_id="test-farm", name="Shed"
        )
        unit.controllers.save_controllers("test-farm", [shed], recorded_at=RUN_AT)
        unit.polls.note({"test-farm.shed": RUN_AT - timedelta(hours=1, minutes=59)})
    assert signals_of(own_service).silent_controller_count == 0
    with own_service.unit_of_work(write=True) as unit:
        unit.polls.note({"test-farm.shed": RUN_AT - timedelta(hours=2)})
    found = signals_of(own_service)
    assert found.silent_controller_count == 1
    assert found.polls == {"test-farm.shed": RUN_AT - timedelta(hours=2)}
