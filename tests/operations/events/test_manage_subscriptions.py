"""Subscriptions: set up once however often it is said, changed, tried, removed, and noted."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from service.bootstrap import Service
from service.errors import Conflict, InputInvalid, NotFound
from service.operations.events import manage_subscriptions as subscriptions
from service.operations.events.manage_subscriptions import (
    MOST_SUBSCRIPTIONS,
    StoredSubscription,
    SubscriptionDraft,
    list_deliveries,
    put_subscription,
    remove_subscription,
    resend_events,
    rotate_secret,
    send_test,
)
from service.records.audit import AuditEntry, Subject
from service.records.events import SUBSCRIBED, EventKind
from tests.api.invented_farm import FARM_ID
from tests.event_farm import EventFarm, event_farm, with_events
from tests.webhook_receiver import Answer, Receiver

URL = "https://office.example.org/events?token=abc"


def put(service: Service, **changes: Any) -> StoredSubscription:
    draft = SubscriptionDraft(**{"subscription_id": "office", "url": URL, **changes})
    with service.unit_of_work(write=True) as unit:
        now = service.clock.now()
        return put_subscription(unit, FARM_ID, draft, rules=service.event_rules, now=now)


def noted(service: Service) -> list[AuditEntry]:
    with service.unit_of_work(write=False) as unit:
        return unit.audit.list_entries(FARM_ID, count=50, subjects=[Subject.SUBSCRIPTION])


def test_a_secret_is_shown_once_and_the_same_again_changes_nothing(own_service: Service) -> None:
    service = with_events(own_service)
    first = put(service)
    assert first.secret is not None and first.subscription.kinds == frozenset(SUBSCRIBED)
    again = put(service)
    assert again.secret is None and again.subscription == first.subscription
    (entry,) = noted(service)
    assert first.secret not in repr(entry) and "token" not in repr(entry)


def test_what_is_changed_is_noted_even_if_only_the_path_is(own_service: Service) -> None:
    service = with_events(own_service)
    put(service)
    changed = put(service, url=URL.replace("events", "other"), kinds=["flow.alarm"], note="pumps")
    assert changed.subscription.kinds == {EventKind.FLOW_ALARM}
    assert len(noted(service)) == 2
    put(service, url=URL, kinds=["flow.alarm"], note="pumps")
    assert len(noted(service)) == 3


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"subscription_id": "Office"}, "subscription_id"),
        ({"url": "http://office.example.org:99999/"}, "url"),
        ({"url": "https://10.0.0.1/"}, "url"),
        ({"kinds": ["plan.made"]}, "kinds"),
        ({"kinds": ["test"]}, "kinds"),
        ({"kinds": []}, "kinds"),
        ({"note": "two\nlines"}, "note"),
        ({"note": "x" * 121}, "note"),
    ],
)
def test_a_slip_is_named(own_service: Service, changes: dict[str, Any], where: str) -> None:
    with pytest.raises(InputInvalid) as error:
        put(with_events(own_service), **changes)
    assert [fault.where for fault in error.value.faults] == [where]


def test_a_farm_has_ten_at_most(own_service: Service) -> None:
    service = with_events(own_service)
    for number in range(MOST_SUBSCRIPTIONS):
        put(service, subscription_id=f"office-{number}")
    with pytest.raises(Conflict, match="10 subscriptions"):
        put(service)
    assert put(service, subscription_id="office-0", note="changed").secret is None


def test_without_the_operators_secret_none_is_set_up(own_service: Service) -> None:
    with pytest.raises(Conflict, match="RILLWRIGHT_EVENT_SECRET"):
        put(own_service)


def test_switched_off_nothing_waits_and_switched_on_it_begins_anew(
    farm: EventFarm, receiver: Receiver
) -> None:
    farm.happen("a")
    put(farm.service, url=receiver.url, is_on=False)
    assert farm.states() == ["dead"]
    farm.happen("b")
    put(farm.service, url=receiver.url)
    farm.happen("c")
    farm.deliver()
    assert [each.event["subject"] for each in receiver.requests] == ["c"]
    with farm.service.unit_of_work(write=True) as unit:
        count = resend_events(unit, FARM_ID, "office", event_ids=None, now=farm.clock.now())
    farm.deliver()
    assert count == 1
    assert [each.event["subject"] for each in receiver.requests] == ["c", "a"]


def test_events_that_were_given_up_are_sent_again_by_name(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda _: Answer(410)
    farm.happen("a", "b")
    farm.deliver()
    put(farm.service, url=receiver.url)
    receiver.answer = lambda _: Answer()
    wanted = farm.deliveries()[1].event_id
    with farm.service.unit_of_work(write=True) as unit:
        resend_events(unit, FARM_ID, "office", event_ids=[wanted], now=farm.clock.now())
    farm.deliver()
    assert farm.states() == ["dead", "delivered"]
    with pytest.raises(InputInvalid) as error, farm.service.unit_of_work(write=True) as unit:
        resend_events(unit, FARM_ID, "office", event_ids=[wanted], now=farm.clock.now())
    assert error.value.faults[0].where == "event_ids"


def test_a_test_goes_to_one_receiver_whatever_it_is_for(
    farm: EventFarm, receiver: Receiver
) -> None:
    put(farm.service, url=receiver.url, kinds=["flow.alarm"])
    event_farm(farm.service, receiver.url, name="other")
    with farm.service.unit_of_work(write=True) as unit:
        event_id = send_test(unit, FARM_ID, "office", now=farm.clock.now())
    farm.deliver()
    assert receiver.event_ids == [event_id]
    assert receiver.requests[0].event["type"] == "org.rillwright.test.v1"
    assert noted(farm.service)[0].after == {"test": event_id}


def test_what_is_off_is_neither_tried_nor_sent_again(farm: EventFarm, receiver: Receiver) -> None:
    put(farm.service, url=receiver.url, is_on=False)
    now = farm.clock.now()
    for ask in (
        lambda unit: send_test(unit, FARM_ID, "office", now=now),
        lambda unit: resend_events(unit, FARM_ID, "office", event_ids=None, now=now),
    ):
        with pytest.raises(Conflict, match="off"), farm.service.unit_of_work(write=True) as unit:
            ask(unit)


def test_a_removed_one_is_gone_with_all_that_waited(farm: EventFarm) -> None:
    farm.happen("a")
    with farm.service.unit_of_work(write=True) as unit:
        remove_subscription(unit, FARM_ID, "office")
    assert noted(farm.service)[0].after is None
    assert farm.deliver().delivered_count == 0
    with pytest.raises(NotFound):
        subscriptions.get_subscription(FARM_ID, "office", unit_of_work=farm.service.unit_of_work)


def test_deliveries_are_read_page_by_page_the_newest_first(farm: EventFarm) -> None:
    farm.happen("a", "b", "c")
    read = farm.service.unit_of_work
    first = list_deliveries(FARM_ID, "office", count=2, unit_of_work=read)
    assert ([each.subject for each in first.deliveries], first.has_more) == (["c", "b"], True)
    last = first.deliveries[-1].event_key
    rest = list_deliveries(FARM_ID, "office", count=2, older_than=last, unit_of_work=read)
    assert ([each.subject for each in rest.deliveries], rest.has_more) == (["a"], False)


@pytest.mark.parametrize(
    "place", [("later-farm", "office"), (FARM_ID, "nothing"), ("nowhere", "office")]
)
def test_another_farms_subscription_is_not_found(farm: EventFarm, place: tuple[str, str]) -> None:
    now, rules = farm.clock.now(), farm.service.event_rules
    with farm.service.unit_of_work(write=True) as unit:
        for ask in (
            partial(remove_subscription, unit),
            partial(rotate_secret, unit, rules=rules, now=now),
            partial(send_test, unit, now=now),
            partial(resend_events, unit, event_ids=None, now=now),
        ):
            with pytest.raises(NotFound):
                ask(*place)
