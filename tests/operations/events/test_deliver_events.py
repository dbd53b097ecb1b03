"""Delivery of events: in order, at least once, put off, given up, switched off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from service.operations.events import deliver_events as delivery
from service.operations.events.manage_subscriptions import rotate_secret
from service.operations.events.retry_rule import DISABLE_AFTER, GIVE_UP_AFTER, MOST_REFUSALS
from service.records.audit import ActorKind, Subject
from tests.api.invented_farm import FARM_ID, FixedClock
from tests.event_farm import EventFarm, event_farm, invented
from tests.webhook_receiver import Answer, Received, Receiver, running_receiver

FIVE = ("a", "b", "c", "d", "e")


def subjects(receiver: Receiver) -> list[str]:
    return [each.event["subject"] for each in receiver.requests]


@pytest.fixture
def in_present(farm: EventFarm) -> EventFarm:
    """The library that verifies compares with the machine's clock."""
    farm.clock.instant = datetime.now(UTC)
    return farm


def test_the_receiver_verifies_with_the_library_and_notices_a_change(
    in_present: EventFarm, receiver: Receiver
) -> None:
    in_present.happen("a")
    assert in_present.deliver().delivered_count == 1
    (came,) = receiver.requests
    verified = Webhook(in_present.secret).verify(came.body, dict(came.headers))
    assert verified["subject"] == "a" and verified["id"] == came.event_id
    for body, headers in (
        (came.body.replace(b"repair", b"repaid"), came.headers),
        (came.body, {**came.headers, "webhook-id": "evt_other"}),
        (came.body, {**came.headers, "webhook-timestamp": "1"}),
    ):
        with pytest.raises(WebhookVerificationError):
            Webhook(in_present.secret).verify(body, dict(headers))


def test_both_secrets_sign_until_a_day_after_the_rotation(
    in_present: EventFarm, receiver: Receiver
) -> None:
    service = in_present.service
    with service.unit_of_work(write=True) as unit:
        newer = rotate_secret(
            unit, FARM_ID, "office", rules=service.event_rules, now=in_present.clock.now()
        )
    assert newer.secret not in (None, in_present.secret)
    in_present.happen("a")
    in_present.deliver()
    for secret in (in_present.secret, str(newer.secret)):
        Webhook(secret).verify(receiver.requests[0].body, dict(receiver.requests[0].headers))
    in_present.wait(days=1)
    in_present.happen("b")
    in_present.deliver()
    assert receiver.requests[0].headers["webhook-signature"].count("v1,") == 2
    assert receiver.requests[1].headers["webhook-signature"].count("v1,") == 1


def test_events_come_in_their_order_and_wait_behind_one_that_fails(
    farm: EventFarm, receiver: Receiver
) -> None:
    fails = [False, True, True, False, False, False, False]
    receiver.answer = lambda _: Answer(503 if fails[len(receiver.requests) - 1] else 204)
    farm.happen(*FIVE)
    assert farm.deliver().put_off_count == 1
    assert subjects(receiver) == ["a", "b"]
    farm.wait(seconds=9)
    assert farm.deliver().delivered_count == 0  # ten seconds have to pass
    farm.wait(seconds=1)
    farm.deliver()
    farm.wait(seconds=20)
    farm.deliver()
    assert subjects(receiver) == ["a", "b", "b", "b", "c", "d", "e"]
    assert farm.states() == ["delivered"] * 5
    assert farm.deliveries()[1].attempt_count == 3
    assert len(set(receiver.event_ids)) == 5
    assert receiver.requests[1].body == receiver.requests[3].body
    assert farm.subscription().failing_since is None


def test_a_long_queue_is_sent_in_several_rounds(
    farm: EventFarm, receiver: Receiver, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivery, "EVENTS_EACH", 2)
    farm.happen(*FIVE)
    assert farm.deliver().delivered_count == 5
    assert subjects(receiver) == [*FIVE]


def test_a_receiver_that_asks_for_a_wait_gets_it(farm: EventFarm, receiver: Receiver) -> None:
    receiver.answer = lambda _: Answer(429, {"Retry-After": "120"})
    farm.happen("a")
    farm.deliver()
    farm.wait(seconds=119)
    farm.deliver()
    assert len(receiver.requests) == 1
    farm.wait(seconds=1)
    farm.deliver()
    assert len(receiver.requests) == 2


def test_an_event_that_is_refused_time_and_again_makes_way(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda came: Answer(422 if came.event["subject"] == "b" else 204)
    farm.happen("a", "b", "c")
    for _ in range(MOST_REFUSALS):
        farm.deliver()
        farm.wait(hours=1)
    assert farm.states() == ["delivered", "dead", "delivered"]
    assert subjects(receiver) == ["a", *["b"] * MOST_REFUSALS, "c"]


def test_events_are_given_up_after_three_days_and_all_at_once(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda _: Answer(500, body=b"<h1>out\x00 of order</h1>" + b"x" * 500)
    farm.happen("a", "b")
    farm.deliver()
    farm.wait(hours=1)
    farm.happen("c")
    farm.clock.instant += GIVE_UP_AFTER - timedelta(hours=1)
    assert farm.deliver().dead_count == 2
    assert farm.states() == ["dead", "dead", "waiting"]
    reply = farm.deliveries()[0].reply
    assert reply.startswith("<h1>out of order</h1>") and len(reply) == 200


def test_a_receiver_that_fails_for_days_is_switched_off_with_a_note(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda _: Answer(500)
    farm.happen("a")
    farm.deliver()
    farm.clock.instant += DISABLE_AFTER
    farm.happen("b")
    outcome = farm.deliver()
    assert (outcome.disabled_count, farm.states()) == (1, ["dead", "dead"])
    off = farm.subscription()
    assert off.disabled_at == farm.clock.now()
    assert off.disabled_reason.startswith("every attempt failed for 5 days")
    with farm.service.unit_of_work(write=False) as unit:
        (entry,) = unit.audit.list_entries(FARM_ID, count=1, subjects=[Subject.SUBSCRIPTION])
    assert entry.actor.kind is ActorKind.SERVICE
    assert entry.after is not None and "every attempt failed" in entry.after["disabled_reason"]
    farm.happen("c")  # no system is notified any more
    assert len(farm.deliveries()) == 2


def test_a_receiver_that_is_gone_is_switched_off_at_once(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda _: Answer(410)
    farm.happen("a")
    assert farm.deliver().disabled_count == 1
    assert "410" in farm.subscription().disabled_reason


def test_a_slow_receiver_holds_up_no_other(farm: EventFarm, receiver: Receiver) -> None:
    with running_receiver() as second:
        event_farm(farm.service, second.url, name="other")
        receiver.answer = lambda _: Answer(503)
        farm.happen(*FIVE)
        farm.deliver()
        assert len(receiver.requests) == 1
        assert subjects(second) == [*FIVE]


def test_what_a_dead_sender_had_claimed_is_sent_by_another_when_its_lease_is_over(
    farm: EventFarm, receiver: Receiver
) -> None:
    def die(name: str) -> None:
        if name == "events sent":
            raise KeyboardInterrupt

    farm.happen("a", "b")
    with pytest.raises(KeyboardInterrupt):
        farm.deliver(checkpoint=die)
    assert farm.states() == ["waiting", "waiting"]
    farm.deliver(owner="other")
    assert len(receiver.requests) == 2  # the lease still holds
    farm.wait(seconds=delivery.LEASE_S)
    farm.deliver(owner="other")
    assert subjects(receiver) == ["a", "b", "a", "b"]
    assert farm.states() == ["delivered", "delivered"]


def test_a_sender_whose_clock_is_ahead_takes_no_receiver_over(
    farm: EventFarm, receiver: Receiver
) -> None:
    claimed_at = FixedClock(farm.clock.now())

    def die(name: str) -> None:
        raise KeyboardInterrupt

    farm.happen("a")
    with pytest.raises(KeyboardInterrupt):
        farm.deliver(checkpoint=die, lease_clock=lambda _clock, _unit_of_work: claimed_at)
    farm.wait(seconds=10 * delivery.LEASE_S)  # the clock of the second host
    farm.deliver(owner="other", lease_clock=lambda _clock, _unit_of_work: claimed_at)
    assert receiver.requests == []
    claimed_at.instant += timedelta(seconds=delivery.LEASE_S)
    farm.deliver(owner="other", lease_clock=lambda _clock, _unit_of_work: claimed_at)
    assert subjects(receiver) == ["a"]


def test_the_late_result_of_a_sender_that_lost_its_lease_is_not_stored(
    farm: EventFarm, receiver: Receiver
) -> None:
    def be_slow(name: str) -> None:
        if name == "events sent":
            farm.wait(seconds=delivery.LEASE_S)
            receiver.answer = lambda _: Answer(503)
            farm.deliver(owner="other")

    farm.happen("a")
    assert farm.deliver(checkpoint=be_slow).delivered_count == 0
    assert farm.states() == ["waiting"]


def test_nothing_is_sent_with_another_operators_secret(farm: EventFarm, receiver: Receiver) -> None:
    farm.happen("a")
    assert farm.deliver(own_secret="another secret of thirty-two characters").delivered_count == 0
    assert receiver.requests == [] and farm.states() == ["waiting"]
    farm.wait(hours=1)
    assert farm.deliver().delivered_count == 1


def test_a_subscription_that_is_removed_meanwhile_is_no_trouble(
    farm: EventFarm, receiver: Receiver
) -> None:
    def remove(received: Received) -> Answer:
        with farm.service.unit_of_work(write=True) as unit:
            unit.subscriptions.delete(farm.subscription())
        return Answer()

    farm.happen("a")
    receiver.answer = remove
    assert farm.deliver().delivered_count == 0


def test_old_events_are_deleted_but_not_those_that_wait(
    farm: EventFarm, receiver: Receiver
) -> None:
    receiver.answer = lambda came: Answer(503 if came.event["subject"] == "b" else 204)
    farm.happen("a", "b")
    farm.deliver()
    farm.wait(days=31)
    parts = {"unit_of_work": farm.service.unit_of_work, "clock": farm.clock}
    assert delivery.prune_events(**parts) == 1  # type: ignore[arg-type]  # parts by name
    assert [each.subject for each in farm.deliveries()] == ["b"]


def test_nothing_is_written_where_nobody_wants_to_be_told(farm: EventFarm) -> None:
    with farm.service.unit_of_work(write=True) as unit:
        other = unit.blocks.farm_keys(["later-farm"])["later-farm"]
        assert unit.events.add_events([(other, invented())], at=farm.clock.now()) == 0
    assert farm.deliveries() == []
