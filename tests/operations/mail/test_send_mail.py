"""Sending against a real SMTP server that refuses, puts off and hangs up: everybody gets the plan.

Duplicates only where the relay took a mail and the sender could not learn so, and then with the
same bytes (RFC 5321 4.5.4.1 and RFC 1047: the risk of a lost reply is the receiver's to live with).
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from icalendar import Calendar
from sqlalchemy import Engine

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.delivery.message import MailIdentity, make_composer
from service.delivery.smtp_relay import RelayAddress, SmtpRelay
from service.errors import MailRefused, MailUnavailable, NotFound
from service.operations.access.unsubscribe import find_subscription, unsubscribe
from service.operations.evening.run_day import run_day
from service.operations.mail.evening_mail import queue_evening_mails
from service.operations.mail.send_mail import (
    BATCH_SIZE,
    LEASE_S,
    Post,
    PostOutcome,
    deliver,
    is_mail_due,
    prune_mails,
    send_due,
)
from service.operations.reading.read_plans import list_plans
from service.operations.shared_clock import shared_clock
from service.ports import Clock
from service.records.mail import KnownPerson, MailRow, Person
from tests.mail_relay import Relay
from tests.patience import PATIENCE_S
from tests.scheduled_farms import SOURCE, FixedClock, MadeUpService, store_farms

ZONE = "America/New_York"
ON = date(2026, 7, 14)
PLAN_DAY = ON + timedelta(days=1)
EVENING = datetime(2026, 7, 14, 22, 30, tzinfo=UTC)
DOMAIN = "mail.example.org"
FARM = "farm-00000"


class Killed(BaseException):
    """The process ended here; nothing may catch it."""


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(EVENING)


@pytest.fixture
def planned(open_unit: UnitOfWorkFactory, clock: FixedClock) -> Callable[[int], UnitOfWorkFactory]:
    """A farm whose plan for tomorrow is published, with so many readers."""

    def store(reader_count: int) -> UnitOfWorkFactory:
        store_farms(open_unit, farm_count=1, zones=[ZONE], today=ON)
        with open_unit(write=True) as unit:
            for number in range(reader_count):
                unit.people.save(address_of(number), farm_id=FARM)
            sites = unit.blocks.read_site_table().keys
        MadeUpService(open_unit)(sites, now=EVENING)
        run_day(
            ON,
            unit_of_work=open_unit,
            clock=clock,
            source_order={SOURCE: 1},
            after_publish=queue_evening_mails,
        )
        return open_unit

    return store


def address_of(number: int) -> Person:
    return Person(
        mail_address=f"reader-{number}@example.org",
        name=f"Reader {number}",
        language="es" if number % 2 else "en",
    )


def make_post(
    open_unit: UnitOfWorkFactory, clock: FixedClock, relay: Relay, **changes: Any
) -> Post:
    facts: dict[str, Any] = {
        "owner": "first",
        "unit_of_work": open_unit,
        "clock": clock,
        "source_order": {SOURCE: 1},
        "compose": make_composer(
            MailIdentity(
                sender_address=f"plans@{DOMAIN}",
                sender_name="Plans",
                domain=DOMAIN,
                reply_address="",
                public_url="https://farm.example.org",
            )
        ),
        "connect": relay.connect(),
        "domain": DOMAIN,
        "pause": lambda _seconds: None,
    }
    return Post(**{**facts, **changes})


def mails(open_unit: UnitOfWorkFactory) -> dict[str, MailRow]:
    with open_unit(write=False) as unit:
        rows = unit.outbox.list_mails(first_queued_at=EVENING - timedelta(days=60))
    return {row.mail_address: row for row in rows}


def person(open_unit: UnitOfWorkFactory, number: int = 0) -> KnownPerson:
    with open_unit(write=False) as unit:
        (found,) = unit.people.list_people(mail_address=address_of(number).mail_address)
    return found


def counts(outcome: PostOutcome) -> tuple[int, int, int, int]:
    return (
        outcome.sent_count,
        outcome.put_off_count,
        outcome.failed_count,
        outcome.dropped_count,
    )


def test_the_mail_that_arrives_has_the_stored_plan(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(1)
    assert counts(send_due(make_post(open_unit, clock, relay))) == (1, 0, 0, 0)
    (message,) = relay.messages
    (view,) = list_plans(day=PLAN_DAY, farm_id=FARM, unit_of_work=open_unit)
    assert message["To"] == "Reader 0 <reader-0@example.org>"
    assert f"{view.plan.planned_min} min" in message["Subject"]
    key = person(open_unit).person_key
    assert message["Message-ID"] == f"<plan.{FARM}.{PLAN_DAY}.v1.{key}@{DOMAIN}>"
    body = message.get_body(("plain",))
    assert body is not None
    text = body.get_content()
    assert view.block.name in text
    (attached,) = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    events = Calendar.from_ical(attached.get_content()).events
    assert [event.duration // timedelta(minutes=1) for event in events] == [
        length for _, length in view.plan.pulses
    ]
    row = mails(open_unit)["reader-0@example.org"]
    assert (row.state, row.attempt_count, row.last_reply) == ("sent", 1, "250 OK")
    assert counts(send_due(make_post(open_unit, clock, relay))) == (0, 0, 0, 0)
    assert len(relay.accepted) == 1


def test_mail_is_due_until_it_is_sent(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(1)
    assert is_mail_due(open_unit, now=clock.now())
    send_due(make_post(open_unit, clock, relay))
    assert not is_mail_due(open_unit, now=clock.now())


def test_a_mail_that_is_put_off_comes_later_with_the_same_bytes(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(2)
    relay.data_replies["reader-0@example.org"] = ["451 busy", "451 still busy"]
    post = make_post(open_unit, clock, relay)
    assert counts(send_due(post)) == (1, 1, 0, 0)
    row = mails(open_unit)["reader-0@example.org"]
    assert (row.state, row.last_reply) == ("queued", "451 busy")
    assert counts(send_due(post)) == (0, 0, 0, 0)  # not yet
    clock.time += timedelta(minutes=1)
    assert counts(send_due(post)) == (0, 1, 0, 0)
    clock.time += timedelta(minutes=2)
    assert counts(send_due(post)) == (1, 0, 0, 0)
    assert sorted(relay.recipients) == ["reader-0@example.org", "reader-1@example.org"]
    assert relay.connection_count == 3  # one connection a round


def test_a_mail_put_off_until_noon_is_dropped_and_three_of_them_stop_the_reader(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(1)
    relay.rcpt_replies["reader-0@example.org"] = ["451 greylisted"] * 1000
    post = make_post(open_unit, clock, relay)
    attempt_count = 0
    for evening in range(3):
        if evening:
            clock.time = EVENING + timedelta(days=evening)
            order = take_order(open_unit, clock, day=PLAN_DAY + timedelta(days=evening))
            assert order == 1
        outcome = send_due(post)
        while not outcome.dropped_count:
            attempt_count += outcome.put_off_count
            clock.time += timedelta(minutes=5)
            outcome = send_due(post)
    assert attempt_count > 3 * 20  # every half hour through the night
    known = person(open_unit)
    assert known.suppressed_at is not None
    assert "3 mails put off until too late: 451 greylisted" in known.suppressed_reason
    assert relay.accepted == []


def take_order(open_unit: UnitOfWorkFactory, clock: FixedClock, *, day: date) -> int:
    """A mail of another day, ordered by hand: its letter is never needed."""
    from service.records.mail import MailOrder

    with open_unit(write=True) as unit:
        (known,) = unit.people.list_people()
        return unit.outbox.queue(
            [
                MailOrder(
                    person_key=known.person_key,
                    farm_id=FARM,
                    plan_day=PLAN_DAY,
                    kind="evening",
                    plan_version=day.toordinal(),
                    expires_at=clock.now() + timedelta(hours=13),
                )
            ],
            at=clock.now(),
        )


def test_a_mail_refused_for_good_stops_its_reader_alone(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(3)
    relay.rcpt_replies["reader-0@example.org"] = ["550 no such user"]
    relay.data_replies["reader-2@example.org"] = ["552 mailbox full for ever"]
    outcome = send_due(make_post(open_unit, clock, relay))
    assert counts(outcome) == (1, 0, 2, 0)
    assert relay.recipients == ["reader-1@example.org"]
    assert relay.connection_count == 1
    assert person(open_unit, 0).suppressed_reason == "550 no such user"
    assert person(open_unit, 1).suppressed_at is None
    assert person(open_unit, 2).suppressed_reason.startswith("552")
    assert mails(open_unit)["reader-0@example.org"].state == "failed"


def test_a_relay_that_does_not_want_this_sender_is_nobodys_fault(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(4)
    relay.mail_reply = "550 you may not send"
    outcome = send_due(make_post(open_unit, clock, relay))
    assert outcome.trouble == "550 you may not send"
    assert outcome.failed_count == 0
    assert {row.state for row in mails(open_unit).values()} == {"queued"}
    assert all(person(open_unit, number).suppressed_at is None for number in range(4))
    relay.mail_reply = "250 OK"
    clock.time += timedelta(minutes=2)
    assert counts(send_due(make_post(open_unit, clock, relay))) == (4, 0, 0, 0)


def test_a_relay_that_is_away_leaves_all_mails_waiting(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(2)
    away = replace_port(relay)
    outcome = send_due(make_post(open_unit, clock, relay, connect=away))
    assert "ConnectionRefusedError" in outcome.trouble
    clock.time += timedelta(minutes=2)
    assert counts(send_due(make_post(open_unit, clock, relay))) == (2, 0, 0, 0)


def replace_port(relay: Relay) -> SmtpRelay:
    return SmtpRelay(
        RelayAddress(
            host="127.0.0.1", port=1, security="none", user="", password="",
            sender_address=f"plans@{DOMAIN}", own_name=DOMAIN,
        ),
        timeout_s=PATIENCE_S,
    )  # fmt: skip


def test_a_connection_lost_after_the_mail_was_taken_brings_it_twice_and_no_other(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(5)
    relay.hang_ups_after_data["reader-2@example.org"] = 1
    post = make_post(open_unit, clock, relay)
    outcome = send_due(post)
    assert counts(outcome) == (4, 1, 0, 0)
    assert outcome.trouble == ""
    clock.time += timedelta(minutes=1)
    assert counts(send_due(post)) == (1, 0, 0, 0)
    times = Counter(relay.recipients)
    assert times == {f"reader-{number}@example.org": 2 if number == 2 else 1 for number in range(5)}
    first, second = (
        content for recipient, content in relay.accepted if recipient == "reader-2@example.org"
    )
    assert first == second


@pytest.mark.parametrize("point", ["mail claimed", "mail written", "mail accepted"])
def test_a_sender_that_dies_is_followed_by_another_after_its_lease(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay, point: str
) -> None:
    open_unit = planned(7)
    left = [3] if point != "mail claimed" else [1]

    def die(name: str) -> None:
        if name == point:
            left[0] -= 1
            if not left[0]:
                raise Killed

    with pytest.raises(Killed):
        send_due(make_post(open_unit, clock, relay, checkpoint=die))
    second = make_post(open_unit, clock, relay, owner="second")
    assert counts(send_due(second)) == (0, 0, 0, 0)  # all are held
    clock.time += timedelta(seconds=LEASE_S)
    send_due(second)
    times = Counter(relay.recipients)
    assert set(times) == {f"reader-{number}@example.org" for number in range(7)}
    twice = {recipient for recipient, count in times.items() if count > 1}
    assert len(twice) == (1 if point == "mail accepted" else 0)
    for recipient in twice:
        assert len({content for to, content in relay.accepted if to == recipient}) == 1
    assert {row.state for row in mails(open_unit).values()} == {"sent"}


def test_a_sender_whose_clock_is_ahead_takes_nothing_over(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(3)

    def by_server(_clock: Clock, _open_unit: UnitOfWorkFactory) -> Clock:
        return FixedClock(EVENING)

    def die(_name: str) -> None:
        raise Killed

    with pytest.raises(Killed):
        send_due(make_post(open_unit, clock, relay, checkpoint=die, lease_clock=by_server))
    clock.time += timedelta(seconds=10 * LEASE_S)  # the clock of the second host
    second = make_post(open_unit, clock, relay, owner="second", lease_clock=by_server)
    assert counts(send_due(second)) == (0, 0, 0, 0)
    assert relay.accepted == []


def test_leases_go_by_the_clock_of_the_database_where_it_has_one(
    open_unit: UnitOfWorkFactory, engine: Engine
) -> None:
    ahead = FixedClock(datetime.now(UTC) + timedelta(hours=3))
    found = shared_clock(ahead, open_unit).now()
    is_ahead = found - datetime.now(UTC) > timedelta(hours=2)
    assert is_ahead == (engine.dialect.name == "sqlite")  # a file is on one machine


def test_sending_waits_for_no_evening(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit, locks = planned(3), []

    def watched(*, write: bool, farm_keys: Collection[int] | None = None) -> UnitOfWork:
        if write:
            locks.append(farm_keys)
        return open_unit(write=write, farm_keys=farm_keys)

    assert send_due(make_post(watched, clock, relay)).sent_count == 3
    assert set(map(str, locks)) == {"()"}


def test_two_senders_who_claim_at_the_same_moment_get_different_mails(
    planned: Callable[[int], UnitOfWorkFactory], engine: Engine
) -> None:
    open_unit = planned(4)
    if engine.dialect.name == "sqlite":  # a file has one writer
        with open_unit(write=True) as unit:
            first = unit.outbox.claim(owner="a", now=EVENING, lease_s=60, limit=2)
        with open_unit(write=True) as unit:
            second = unit.outbox.claim(owner="b", now=EVENING, lease_s=60, limit=4)
    else:
        with open_unit(write=True, farm_keys=()) as one, open_unit(write=True, farm_keys=()) as two:
            first = one.outbox.claim(owner="a", now=EVENING, lease_s=60, limit=2)
            second = two.outbox.claim(owner="b", now=EVENING, lease_s=60, limit=4)
    keys = [{mail.mail_key for mail in batch} for batch in (first, second)]
    assert [len(each) for each in keys] == [2, 2] and not keys[0] & keys[1]


def test_no_mail_is_begun_with_a_lease_that_is_about_to_end(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(9)

    def slow(_seconds: float) -> None:
        clock.time += timedelta(seconds=30)

    outcome = send_due(make_post(open_unit, clock, relay, pause=slow))
    assert outcome.sent_count == 9
    assert Counter(relay.recipients).most_common(1)[0][1] == 1


def test_five_hundred_readers_get_one_mail_each_over_few_connections(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(500)
    relay.rcpt_replies.update({f"reader-{n}@example.org": ["451 later"] for n in range(0, 500, 50)})
    relay.data_replies["reader-7@example.org"] = ["550 gone"]
    relay.hang_ups_after_data["reader-13@example.org"] = 1
    pauses: list[float] = []
    composed: dict[tuple[str, str], bytes] = {}
    write = make_post(open_unit, clock, relay).compose

    def write_once(letter: Any, reader: Person, stamp: Any) -> bytes:
        # One message per language, readdressed: this tests the delivery, not the words.
        key = (reader.language, reader.unit_system)
        if key not in composed:
            composed[key] = write(letter, reader, stamp)
        return re.sub(rb"reader-\d+@", reader.mail_address.encode().split(b"@")[0] + b"@",
                      composed[key], count=1)  # fmt: skip

    post = make_post(open_unit, clock, relay, pause=pauses.append, compose=write_once)
    first = send_due(post)
    clock.time += timedelta(minutes=1)
    second = send_due(post)
    assert first.sent_count + second.sent_count == 499
    times = Counter(relay.recipients)
    assert set(times) == {f"reader-{n}@example.org" for n in range(500) if n != 7}
    assert {recipient for recipient, count in times.items() if count > 1} == {
        "reader-13@example.org"
    }
    assert relay.connection_count == 3  # one, another after the hang-up, one for the second round
    assert len(pauses) >= 500
    assert min(pauses) >= 0.1  # ten a second at most
    assert BATCH_SIZE < 500
    assert io.BytesIO(relay.accepted[0][1]).readline().endswith(b"\r\n")


def test_what_is_not_wanted_any_more_is_not_sent(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(3)
    with open_unit(write=True) as unit:
        unit.people.unsubscribe(person(open_unit, 0).person_key, "evening")
        unit.people.suppress(person(open_unit, 1).person_key, at=EVENING, reason="asked to")
    assert counts(send_due(make_post(open_unit, clock, relay))) == (1, 0, 0, 2)
    assert relay.recipients == ["reader-2@example.org"]
    assert mails(open_unit)["reader-0@example.org"].last_reply == "not wanted any more"


def test_the_link_in_a_mail_stops_it_and_looking_at_the_link_does_not(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(1)
    send_due(make_post(open_unit, clock, relay))
    (message,) = relay.messages
    found = re.search(r"/u/([\w-]+)>", message["List-Unsubscribe"])
    assert found is not None
    token = found[1]
    shown = find_subscription(token, unit_of_work=open_unit)
    assert (shown.mail_list, shown.is_active) == ("evening", True)
    assert find_subscription(token, unit_of_work=open_unit).is_active
    assert not unsubscribe(token, unit_of_work=open_unit).is_active
    assert not unsubscribe(token, unit_of_work=open_unit).is_active
    assert person(open_unit).person.receives == ("weekly",)
    for wrong in ("", "x", token[:-1], token + "x", "'" * 500):
        with pytest.raises(NotFound):
            unsubscribe(wrong, unit_of_work=open_unit)
    with open_unit(write=True) as unit:  # loading the farm file again is no way back
        assert unit.people.save(address_of(0), farm_id=FARM) == "unchanged"
    assert person(open_unit).person.receives == ("weekly",)


def test_a_mail_that_cannot_be_written_holds_up_no_other(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(3)
    write = make_post(open_unit, clock, relay).compose

    def fail_for_one(letter: Any, reader: Person, stamp: Any) -> bytes:
        if reader.mail_address == "reader-1@example.org":
            raise RuntimeError("no such letter")
        return write(letter, reader, stamp)

    post = make_post(open_unit, clock, relay, compose=fail_for_one)
    assert counts(send_due(post)) == (2, 1, 0, 0)
    clock.time += timedelta(minutes=1)
    assert counts(send_due(make_post(open_unit, clock, relay))) == (1, 0, 0, 0)


def test_the_week_is_mailed_once_from_monday_morning_on(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(1)
    with open_unit(write=True) as unit:
        unit.people.save(replace(address_of(8), role="adviser"))
    post = make_post(open_unit, clock, relay)
    send_due(post)
    relay.accepted.clear()
    clock.time = datetime(2026, 7, 20, 9, 59, tzinfo=UTC)  # Monday, 05:59 at the farm
    assert deliver(post).queued_count == 0
    clock.time += timedelta(minutes=1)
    outcome = deliver(post)
    assert outcome.queued_count == outcome.sent_count
    subjects = [message["Subject"] for message in relay.messages]
    assert any("Week to Sun, Jul 19" in subject for subject in subjects)
    assert deliver(post).queued_count == 0
    clock.time += timedelta(days=3)
    assert deliver(post).queued_count == 0


def test_old_mails_are_forgotten_and_those_to_be_sent_are_not(
    planned: Callable[[int], UnitOfWorkFactory], clock: FixedClock, relay: Relay
) -> None:
    open_unit = planned(2)
    relay.data_replies["reader-1@example.org"] = ["451 later"]
    send_due(make_post(open_unit, clock, relay))
    clock.time += timedelta(days=91)
    assert prune_mails(unit_of_work=open_unit, clock=clock) == 1
    assert [row.mail_address for row in mails(open_unit).values()] == ["reader-1@example.org"]


def test_a_refusal_says_whether_it_is_final(relay: Relay) -> None:
    relay.rcpt_replies["a@example.org"] = ["451 wait", "550 never"]
    session = relay.connect()()
    for code, is_final in ((451, False), (550, True)):
        with pytest.raises(MailRefused) as caught:
            session.send(b"Subject: x\r\n\r\ny\r\n", recipient="a@example.org")
        assert (caught.value.code, caught.value.is_final) == (code, is_final)
    assert session.send(b"Subject: x\r\n\r\n.y\r\n", recipient="a@example.org") == "250 OK"
    assert relay.accepted[0][1].endswith(b"\r\n.y\r\n")  # the dot of a line came whole
    session.close()
    session.close()


def test_a_login_that_fails_says_so_without_the_password(relay: Relay) -> None:
    address = RelayAddress(
        host="127.0.0.1", port=relay.port, security="none", user="me", password="hunter2",
        sender_address="a@example.org", own_name=DOMAIN,
    )  # fmt: skip
    with pytest.raises(MailUnavailable) as caught:
        SmtpRelay(address)()
    assert "hunter2" not in str(caught.value)
    assert "hunter2" not in repr(address)
    with pytest.raises(MailUnavailable):
        SmtpRelay(replace(address, security="starttls"))()
