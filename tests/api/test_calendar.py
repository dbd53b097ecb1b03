"""The calendar feed: events with stable identities, behind a secret link."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes
from email.policy import SMTP
from typing import Any

from icalendar import Calendar

from service.api.app import create_app
from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service, make_composer
from service.delivery.calendar_feed import calendar_feed
from service.operations.access.share_calendar import renew_link
from service.operations.feedback.pause_blocks import pause_block
from service.operations.mail.evening_mail import evening_letter
from service.operations.reading.read_farms import list_farms
from service.pulses import Pulse
from service.records.farms import FarmDefinition
from service.records.letters import MailStamp
from service.records.mail import Person
from service.records.plans import PlanVersion
from service.translations import wording
from tests.api.conftest import Client
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    FixedClock,
    bring_weather,
    plan_evening,
)

FARM = FarmDefinition(farm_id=FARM_ID, name="Test Farm", zone="America/New_York")
ENGLISH = wording("en", "us")
VERSION = PlanVersion(
    block_id=BLOCK_ID,
    block_name="North",
    is_retired=False,
    day=PLAN_DAY,
    version=1,
    status="water",
    issued_at=RUN_AT,
    superseded_at=None,
    pulses=(Pulse(300, 40), Pulse(380, 40)),
)


def link_of(service: Service) -> str:
    secret = renew_link(FARM_ID, unit_of_work=service.unit_of_work, clock=service.clock)
    return f"/v1/calendars/{secret}.ics"


def events_of(feed: bytes) -> dict[str, Any]:
    calendar = Calendar.from_ical(feed)
    events = {str(event["UID"]): event for event in calendar.walk("VEVENT")}
    assert len(events) == len(calendar.walk("VEVENT"))
    return events


def test_each_pulse_is_an_event_in_utc(own_service: Service) -> None:
    client = Client(create_app(own_service))
    answer = client.get(link_of(own_service))
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert answer.headers["Cache-Control"].startswith("private")
    plan = client.json(f"/v1/blocks/{BLOCK_ID}/plan")
    events = events_of(answer.content)
    for number, pulse in enumerate(plan["pulses"], 1):
        event = events[f"pulse.{BLOCK_ID}.{PLAN_DAY}.{number}@rillwright.invalid"]
        assert event["DTSTART"].dt == datetime.fromtimestamp(pulse["start_epoch_s"], UTC)
        assert event["DTEND"].dt == datetime.fromtimestamp(pulse["end_epoch_s"], UTC)
        assert event["STATUS"] == "CONFIRMED"
        assert event["SEQUENCE"] == plan["version"] - 1
    assert b"DTSTART:20260715T" in answer.content
    assert b"VTIMEZONE" not in answer.content


def test_the_calendar_of_a_mail_has_the_same_events_as_the_feed(own_service: Service) -> None:
    settings = own_service.settings.model_copy(update={"domain": "water.example.org"})
    service = replace(own_service, settings=settings)
    bring_weather(service, warmer_c=4.0)
    assert not plan_evening(service)
    client = Client(create_app(service))
    feed = events_of(client.get(link_of(service)).content)
    (farm,) = list_farms([FARM_ID], unit_of_work=service.unit_of_work)
    letter = evening_letter(
        farm, PLAN_DAY, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS
    )
    reader = Person(mail_address="ana@example.org", name="Ana")
    stamp = MailStamp(message_id="one@example.org", written_at=RUN_AT, link_token="token")
    message = message_from_bytes(make_composer(service)(letter, reader, stamp), policy=SMTP)
    (attached,) = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    mailed = events_of(attached.get_content().encode())
    assert len(mailed) > 2
    assert mailed.keys() == {uid for uid, event in feed.items() if event["STATUS"] == "CONFIRMED"}
    for uid, event in mailed.items():
        assert uid.endswith("@water.example.org")
        for name in ("DTSTART", "DTEND"):
            assert event[name].dt == feed[uid][name].dt
        assert event["SEQUENCE"] == feed[uid]["SEQUENCE"] == 1


def test_stored_state_has_its_tag(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    tag = client.get(link).headers["ETag"]
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant += timedelta(minutes=20)
    assert client.get(link, headers={"If-None-Match": tag}).status_code == 304
    bring_weather(own_service, warmer_c=4.0)
    plan_evening(own_service)
    assert client.get(link, headers={"If-None-Match": tag}).status_code == 200


def test_the_calendar_names_itself_once_and_for_all() -> None:
    first, again = (
        calendar_feed(FARM, [VERSION], ENGLISH, domain="farm.example") for _ in range(2)
    )
    assert first == again
    lines = first.decode().splitlines()
    assert f"UID:plans.{FARM_ID}@farm.example" in lines
    # RFC 7986 5.7 gives the property as REFRESH-INTERVAL;VALUE=DURATION:P1W
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT4H" in lines
    assert "X-PUBLISHED-TTL:PT4H" in lines


def test_the_feed_is_in_the_language_that_its_address_asks_for(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    english, spanish = client.get(link).text, client.get(f"{link}?language=es").text
    assert "SUMMARY:Water " in english and ": irrigation" in english
    assert "SUMMARY:Regar " in spanish and ": riego" in spanish
    # The same events, for somebody who changes the language.
    assert events_of(english.encode()).keys() == events_of(spanish.encode()).keys()
    assert client.get(f"{link}?language=xx").status_code == 422


def test_a_new_version_moves_events_and_cancels_those_it_dropped() -> None:
    later = RUN_AT + timedelta(hours=2)
    versions = [
        replace(VERSION, superseded_at=later),
        replace(VERSION, version=2, issued_at=later, pulses=(Pulse(320, 30),)),
    ]
    before = events_of(calendar_feed(FARM, [VERSION], ENGLISH, domain="farm.example"))
    after = events_of(calendar_feed(FARM, versions, ENGLISH, domain="farm.example"))
    assert before.keys() == after.keys()
    first, second = after.values()
    assert (first["STATUS"], second["STATUS"]) == ("CONFIRMED", "CANCELLED")
    assert first["DTSTART"].dt == datetime(2026, 7, 15, 9, 20, tzinfo=UTC)
    assert {event["SEQUENCE"] for event in after.values()} == {1}
    assert {event["SEQUENCE"] for event in before.values()} == {0}
    assert first["LAST-MODIFIED"].dt == later


def test_a_block_out_of_force_has_its_events_cancelled() -> None:
    events = events_of(
        calendar_feed(FARM, [replace(VERSION, is_retired=True)], ENGLISH, domain="farm.example")
    )
    assert {event["STATUS"] for event in events.values()} == {"CANCELLED"}
    assert {event["SEQUENCE"] for event in events.values()} == {1}


def test_names_cannot_write_lines_of_their_own() -> None:
    farm = replace(FARM, name="A\r\nATTENDEE:mailto:x@y.example")
    version = replace(VERSION, block_name="N\r\nSTATUS:CANCELLED\u202e")
    feed = calendar_feed(farm, [version], ENGLISH, domain="farm.example").decode()
    assert not any(line.startswith(("ATTENDEE", "STATUS:CANCELLED")) for line in feed.splitlines())


def test_pulses_leave_after_two_weeks_and_cancelled_ones_after_one(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    noon = datetime.combine(PLAN_DAY, time(12))
    with own_service.unit_of_work(write=True) as unit:
        pause_block(
            unit,
            BLOCK_ID,
            starts_local=noon - timedelta(hours=12),
            ends_local=noon + timedelta(hours=12),
            reason="harvest",
            reporter="the grower",
            replanning=own_service.replanning,
        )
    assert isinstance(own_service.clock, FixedClock)
    statuses = {event["STATUS"] for event in events_of(client.get(link).content).values()}
    assert statuses == {"CONFIRMED", "CANCELLED"}
    own_service.clock.instant = RUN_AT + timedelta(days=8)
    week_later = events_of(client.get(link).content)
    assert {event["STATUS"] for event in week_later.values()} == {"CONFIRMED"}
    own_service.clock.instant = RUN_AT + timedelta(days=16)
    assert events_of(client.get(link).content) == {}


def test_a_new_link_ends_the_old_one(own_service: Service) -> None:
    client = Client(create_app(own_service))
    old = link_of(own_service)
    assert client.get(old).status_code == 200
    new = link_of(own_service)
    assert client.get(old).status_code == 404
    assert client.get(new).status_code == 200
    assert client.get("/v1/calendars/short.ics").status_code == 422
