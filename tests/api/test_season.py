"""The season calendar over the API, and as a calendar behind the farm's secret link."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from icalendar import Calendar

from service.api.app import create_app
from service.bootstrap import Service
from service.operations.access.share_calendar import renew_link
from tests.api.conftest import Client
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY, FixedClock
from tests.api.test_calendar import events_of
from tests.operations.nutrition.test_plan_nutrients import with_tests
from tests.operations.season.test_plan_season import sample_petioles

PATH = f"/v1/farms/{FARM_ID}/season"


def test_the_tasks_come_with_days_reasons_and_sources(client: Client) -> None:
    found = client.json(PATH)
    assert found["first_day"] == TODAY.isoformat()
    assert found["last_day"] == "2027-07-13"
    firsts = [each["first_day"] for each in found["tasks"]]
    assert firsts == sorted(firsts) and len(firsts) > 10
    for task in found["tasks"]:
        assert task["reason"] and task["source"] and task["blocks"] and task["how"]
    (leaves,) = [each for each in found["tasks"] if each["key"].startswith("leaf-sample.highbush")]
    assert (leaves["first_day"], leaves["last_day"]) == ("2026-07-25", "2026-08-10")
    assert leaves["blocks"][0]["block_id"] == BLOCK_ID
    assert any("Never mix acid" in text for text in found["cautions"])


def test_an_unchanged_calendar_is_not_sent_again(client: Client) -> None:
    tag = client.get(PATH).headers["ETag"]
    assert client.get(PATH, headers={"If-None-Match": tag}).status_code == 304
    assert client.get("/v1/farms/nowhere/season").status_code == 404


# --- the feed ------------------------------------------------------------------------------------

VERAISON = f"leaf-sample.grape.petiole.veraison.2026-07-15.2026-08-31.{FARM_ID}@rillwright.invalid"
HIGHBUSH = (
    f"leaf-sample.highbush-blueberry.leaf.mid-season.2026-07-25.2026-08-10.{FARM_ID}"
    "@rillwright.invalid"
)


def link_of(service: Service) -> str:
    secret = renew_link(FARM_ID, unit_of_work=service.unit_of_work, clock=service.clock)
    return f"/v1/calendars/{secret}/season.ics"


def test_each_task_is_an_all_day_event_that_blocks_no_time(own_service: Service) -> None:
    answer = Client(create_app(with_tests(own_service))).get(link_of(own_service))
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    # RFC 5545 3.1: lines of at most 75 octets, ended by CRLF.
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n"))
    events = events_of(answer.content)
    event = events[HIGHBUSH]
    # RFC 5545 3.6.1: the end of an event of days is the day after its last.
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (date(2026, 7, 25), date(2026, 8, 11))
    assert event["DTSTART"].params["VALUE"] == "DATE"
    assert event["DTSTAMP"].dt == datetime(2025, 7, 25, tzinfo=UTC)
    assert event["TRANSP"] == "TRANSPARENT"
    assert event["SUMMARY"] == "Leaf sample: North blueberries"
    assert "About 50 leaves, at least 40" in event["DESCRIPTION"]
    (alarm,) = event.walk("VALARM")
    assert (alarm["ACTION"], alarm["TRIGGER"].dt) == ("DISPLAY", timedelta(days=-14))
    # A window over months is shown on the day on which it opens.
    late = events[VERAISON]
    assert (late["DTEND"].dt - late["DTSTART"].dt).days == 1
    assert late["SUMMARY"] == "Petiole sample, veraison, until Aug 31: south"


def test_what_can_hurt_carries_its_cautions_into_the_calendar(own_service: Service) -> None:
    feed = Client(create_app(own_service)).get(link_of(own_service)).content
    (acid,) = [
        event
        for event in Calendar.from_ical(feed).walk("VEVENT")
        if str(event["UID"]).startswith("acid.")
    ]
    assert "! Never mix acid with chlorine products" in str(acid["DESCRIPTION"])


def test_the_feed_changes_with_the_tests_and_not_with_the_hour(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    tag = client.get(link).headers["ETag"]
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant += timedelta(minutes=20)
    assert client.get(link, headers={"If-None-Match": tag}).status_code == 304
    assert VERAISON in events_of(client.get(link).content)
    sample_petioles(own_service)
    assert VERAISON not in events_of(client.get(link).content)


def test_events_stay_as_they_are_from_day_to_day(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    before = events_of(client.get(link).content)
    assert isinstance(own_service.clock, FixedClock)
    own_service.clock.instant += timedelta(days=3)
    after = events_of(client.get(link).content)
    assert before.keys() <= after.keys()
    for uid, event in before.items():
        assert event.to_ical() == after[uid].to_ical()


def test_the_feed_speaks_spanish_when_asked(own_service: Service) -> None:
    client, link = Client(create_app(own_service)), link_of(own_service)
    spanish = events_of(client.get(link, params={"language": "es"}).content)
    assert spanish[VERAISON]["SUMMARY"] == "Muestra de pecíolos, envero, hasta el 31 ago: south"
    assert client.get(link, params={"language": "fr"}).status_code == 422
    assert client.get(f"/v1/calendars/{'x' * 43}/season.ics").status_code == 404
