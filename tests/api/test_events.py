"""Events through the API: a receiver set up with the farm's key, tried, and looked after."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any

import pytest

from service.api.app import create_app
from service.api.schemas.events import EVENTS
from service.bootstrap import Service
from service.records import events as records
from service.records.events import EventKind
from tests.api.callers import Caller, new_key
from tests.api.conftest import Client
from tests.api.invented_farm import FARM_ID
from tests.api.paired_controllers import PROGRAM, SHED, SHED_CONTROLLER, pair
from tests.api.test_status import labels_of, scrape, value
from tests.event_farm import EventFarm, event_farm, with_events
from tests.webhook_receiver import Answer, Receiver, running_receiver

ALL = f"/v1/farms/{FARM_ID}/event-subscriptions"
ONE = f"{ALL}/office"
NEWS: dict[EventKind, type[Any]] = {
    EventKind.PLAN_PUBLISHED: records.PlanNews,
    EventKind.PLAN_REPLACED: records.PlanNews,
    EventKind.BLOCK_SHORT: records.ShortNews,
    EventKind.BLOCK_PAUSED: records.PauseNews,
    EventKind.PAUSE_CANCELED: records.PauseNews,
    EventKind.WEATHER_MISSING: records.WeatherNews,
    EventKind.CONTROLLER_SILENT: records.SilenceNews,
    EventKind.FLOW_ALARM: records.FlowNews,
    EventKind.TEST: records.TestNews,
}


@pytest.fixture
def telling(own_service: Service) -> Service:
    return with_events(own_service)


@pytest.fixture
def caller(telling: Service) -> Caller:
    return Caller(create_app(telling), new_key(telling, FARM_ID, "farm:write")[1])


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with running_receiver() as found:
        yield found


def put(caller: Caller, url: str, **body: Any) -> Any:
    answer = caller.request("PUT", ONE, json={"url": url, **body})
    assert answer.status_code == 200, answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    return answer.json()


def test_a_subscription_is_made_shown_changed_and_removed(caller: Caller) -> None:
    url = "https://office.example.org/events"
    made = put(caller, url, kinds=["flow.alarm"])
    assert made["secret"].startswith("whsec_")
    assert put(caller, url, kinds=["flow.alarm"])["secret"] is None
    assert caller.get(ONE).json() == made["subscription"]
    changed = put(caller, url, note="pumps", is_on=False)["subscription"]
    assert (changed["note"], changed["is_on"]) == ("pumps", False)
    assert len(changed["kinds"]) == 8
    listed = caller.get(ALL)
    assert listed.json()["items"] == [changed]
    held = {"If-None-Match": listed.headers["ETag"]}
    assert caller.get(ALL, headers=held).status_code == 304
    assert caller.request("DELETE", ONE).json()["items"] == []
    assert caller.get(ONE).status_code == 404


def test_a_test_is_sent_and_listed(caller: Caller, telling: Service, receiver: Receiver) -> None:
    put(caller, receiver.url)
    first = caller.post(f"{ONE}/tests", None, once="same").json()
    assert caller.post(f"{ONE}/tests", None, once="same").json() == first
    EventFarm(telling, telling.clock, "").deliver()  # type: ignore[arg-type]  # a fixed clock
    assert receiver.event_ids == [first["event_id"]]
    (item,) = caller.get(f"{ONE}/deliveries").json()["items"]
    assert (item["state"], item["status"], item["kind"]) == ("delivered", 204, "test")


def test_what_was_given_up_is_listed_by_pages_and_sent_again(
    caller: Caller, telling: Service, receiver: Receiver
) -> None:
    farm = EventFarm(telling, telling.clock, "")  # type: ignore[arg-type]  # a fixed clock
    receiver.answer = lambda _: Answer(410)
    put(caller, receiver.url)
    farm.happen("a", "b", "c")
    farm.deliver()
    page = caller.get(f"{ONE}/deliveries", params={"state": "dead", "page_size": 2}).json()
    rest = caller.get(page["next"]).json()
    assert [each["subject"] for each in (*page["items"], *rest["items"])] == ["c", "b", "a"]
    assert rest["next"] is None
    assert caller.post(f"{ONE}/resends", {}).status_code == 409  # it is off
    put(caller, receiver.url)
    receiver.answer = lambda _: Answer()
    named = {"event_ids": [page["items"][0]["event_id"]]}
    assert caller.post(f"{ONE}/resends", named).json() == {"resent_count": 1}
    assert caller.post(f"{ONE}/resends", {}).json() == {"resent_count": 2}
    unknown = caller.post(f"{ONE}/resends", {"event_ids": ["evt_nothing"]})
    assert unknown.json()["errors"][0]["pointer"] == "/event_ids"


def test_a_new_secret_is_in_one_answer_and_nowhere_in_the_database(
    caller: Caller, telling: Service
) -> None:
    first = put(caller, "https://office.example.org/")["secret"]
    rotated = caller.request("POST", f"{ONE}/secret")
    second = rotated.json()["secret"]
    assert second not in (None, first) and rotated.headers["Cache-Control"] == "no-store"
    assert rotated.json()["subscription"]["former_secret_until"]
    with telling.unit_of_work(write=False) as unit:
        stored = repr((unit.subscriptions.list_all(), unit.audit.list_entries(None, count=99)))
    assert first[6:] not in stored and second[6:] not in stored


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"url": "https://127.0.0.1:9/", "kinds": ["plan.made"]}, "/kinds/0"),
        ({"url": "https://office.example.org/", "kinds": ["test"]}, "/kinds"),
        ({"url": "https://10.0.0.1/"}, "/url"),
        ({"url": "ftp://office.example.org/"}, "/url"),
        ({"url": "https://office.example.org/", "note": "two\nlines"}, "/note"),
        ({}, "/url"),
    ],
)
def test_a_slip_is_named(caller: Caller, body: Any, pointer: str) -> None:
    answer = caller.request("PUT", ONE, json=body)
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]


def test_a_key_that_may_only_read_sees_no_addresses(telling: Service) -> None:
    reader = Caller(create_app(telling), new_key(telling, FARM_ID, "plan:read", "water:write")[1])
    assert reader.get(ALL).status_code == 403
    assert reader.request("PUT", ONE, json={"url": "https://a.example.org/"}).status_code == 403


@pytest.mark.parametrize("kind", EventKind)
def test_the_document_describes_each_field_that_is_sent(kind: EventKind) -> None:
    data: Any = EVENTS[kind].model_fields["data"].annotation
    assert [each.name for each in fields(NEWS[kind])] == list(data.model_fields)


def test_what_is_sent_keeps_to_the_document(
    caller: Caller, telling: Service, receiver: Receiver
) -> None:
    farm = EventFarm(telling, telling.clock, "")  # type: ignore[arg-type]  # a fixed clock
    put(caller, receiver.url)
    farm.happen("test-farm.north")
    caller.post(f"{ONE}/tests", None)
    farm.deliver()
    kinds = {f"org.rillwright.{kind}.v1": model for kind, model in EVENTS.items()}
    for each in receiver.requests:
        read = kinds[each.event["type"]].model_validate_json(each.body)
        assert set(each.event) == set(type(read).model_fields)
    assert len(receiver.requests) == 2


def test_the_document_has_a_webhook_for_each_kind(caller: Caller) -> None:
    document = caller.get("/openapi.json").json()
    assert list(document["webhooks"]) == [str(kind) for kind in EventKind]
    for webhook in document["webhooks"].values():
        (media,) = webhook["post"]["requestBody"]["content"]
        assert media == "application/cloudevents+json"
        names = {each["name"] for each in webhook["post"]["parameters"]}
        assert names == {"webhook-id", "webhook-timestamp", "webhook-signature"}


def test_a_poll_is_remembered(telling: Service) -> None:
    pair(telling, FARM_ID, SHED_CONTROLLER)
    reader = Caller(create_app(telling), new_key(telling, FARM_ID, "plan:read")[1])
    for _ in range(2):  # by the route, then from memory
        assert reader.get(PROGRAM).status_code == 200
    with telling.unit_of_work(write=False) as unit:
        assert unit.polls.read_last(FARM_ID) == {SHED: telling.clock.now()}


def test_a_scrape_says_how_much_waits_and_for_how_long(telling: Service) -> None:
    farm = event_farm(telling, "https://office.example.org/")
    series = scrape(Client(create_app(telling)))
    assert value(series, "events_waiting") == 0.0
    assert labels_of(series, "events_oldest_waiting_age_seconds") == []
    farm.happen("a", "b")
    farm.wait(minutes=10)
    series = scrape(Client(create_app(telling)))
    assert value(series, "events_waiting") == 2.0
    assert value(series, "events_oldest_waiting_age_seconds") == 600.0
    with telling.unit_of_work(write=True) as unit:
        unit.events.give_up(farm.subscription(), reason="gone")
    series = scrape(Client(create_app(telling)))
    assert (value(series, "events_waiting"), value(series, "events_given_up")) == (0.0, 2.0)
    assert value(series, "event_receivers_off") == 0.0
