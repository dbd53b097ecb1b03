"""Events in both databases: kept apart by farm and kind, claimed by one sender, in their order."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import Engine

from service.database.event_store import EventStore
from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.records.events import (
    Attempt,
    Backlog,
    DeliveryState,
    EventKind,
    Lane,
    LaneResult,
    NewEvent,
    PauseNews,
    SigningSecret,
    Subscription,
)
from tests.stored_farms import stored_block, stored_bundle, stored_farm, stored_supply

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
SECRET = SigningSecret(salt="00" * 32, sha256="11" * 32)


def subscription(farm_id: str, name: str, *kinds: EventKind) -> Subscription:
    return Subscription(
        farm_id=farm_id,
        subscription_id=name,
        url=f"https://{name}.example.org/",
        kinds=frozenset(kinds or EventKind),
        note="",
        created_at=NOW,
        secret=SECRET,
        next_try_at=NOW,
    )


def occurred(
    subject: str, kind: EventKind = EventKind.BLOCK_PAUSED, occurrence: str | None = None
) -> NewEvent:
    news = PauseNews(
        farm_id="", block_id=subject, pause_id="", starts_local="", ends_local="", reason=""
    )
    return NewEvent(kind=kind, subject=subject, news=news, occurrence=occurrence)


@pytest.fixture
def farms(open_unit: UnitOfWorkFactory) -> UnitOfWorkFactory:
    """Two farms; the orchard tells two systems, the vineyard one."""
    with open_unit(write=True) as unit:
        for farm_id in ("orchard", "vineyard"):
            unit.blocks.save_bundle(
                stored_bundle(
                    stored_block(f"{farm_id}.north"),
                    farm=stored_farm(farm_id),
                    supplies=(stored_supply(farm_id=farm_id),),
                ),
                effective_day=date(2026, 7, 1),
                recorded_at=NOW,
            )
        unit.subscriptions.add(subscription("orchard", "all"))
        unit.subscriptions.add(subscription("orchard", "flow", EventKind.FLOW_ALARM))
        unit.subscriptions.add(subscription("vineyard", "other"))
    return open_unit


def add(open_unit: UnitOfWorkFactory, *events: tuple[str, NewEvent]) -> int:
    with open_unit(write=True) as unit:
        keys = unit.blocks.farm_keys()
        return unit.events.add_events([(keys[farm], each) for farm, each in events], at=NOW)


def claim(open_unit: UnitOfWorkFactory, owner: str, at: datetime = NOW) -> dict[str, Lane]:
    with open_unit(write=True) as unit:
        lanes = unit.events.claim(owner=owner, now=at, lease_s=60, lanes=9, events_each=3)
    return {lane.subscription.subscription_id: lane for lane in lanes}


def subjects(lane: Lane) -> list[str]:
    return [each.subject for each in lane.events]


def test_each_gets_what_it_asked_for_of_its_own_farm(farms: UnitOfWorkFactory) -> None:
    stored = add(
        farms,
        ("orchard", occurred("a")),
        ("vineyard", occurred("b")),
        ("orchard", occurred("c", EventKind.FLOW_ALARM)),
    )
    lanes = claim(farms, "one")
    assert stored == 3
    assert {name: subjects(lane) for name, lane in lanes.items()} == {
        "all": ["a", "c"], "flow": ["c"], "other": ["b"],
    }  # fmt: skip


def test_an_occurrence_is_told_once_at_each_farm(farms: UnitOfWorkFactory) -> None:
    told = occurred("a", occurrence="silence")
    assert add(farms, ("orchard", told)) == 1
    assert add(farms, ("orchard", told), ("vineyard", told)) == 1


def test_a_receiver_has_one_sender_at_a_time(farms: UnitOfWorkFactory) -> None:
    add(farms, *(("vineyard", occurred(each)) for each in "abcde"))
    lane = claim(farms, "one")["other"]
    assert subjects(lane) == ["a", "b", "c"]
    assert claim(farms, "two") == {}
    with farms(write=False) as unit:
        assert not unit.events.has_due(now=NOW)
        assert unit.events.has_due(now=NOW + timedelta(seconds=60))
    attempt = Attempt(at=NOW, status=204, reply="")
    keys = [each.event_key for each in lane.events]
    result = LaneResult(
        attempts=dict.fromkeys(keys[:2], (DeliveryState.DELIVERED, attempt)),
        next_try_at=NOW,
        failing_since=None,
    )
    with farms(write=True) as unit:
        assert not unit.events.settle(lane.lane_key, result, owner="two")
        assert unit.events.settle(lane.lane_key, result, owner="one")
        assert not unit.events.settle(lane.lane_key, result, owner="one")
    assert subjects(claim(farms, "two")["other"]) == ["c", "d", "e"]


def test_the_backlog_counts_what_waits_and_what_was_given_up(farms: UnitOfWorkFactory) -> None:
    with farms(write=False) as unit:
        assert unit.events.read_backlog() == Backlog(0, None, 0, 0)
    add(farms, ("vineyard", occurred("a")), ("vineyard", occurred("b")))
    with farms(write=True) as unit:
        other = subscription("vineyard", "other")
        unit.events.give_up(other, reason="gone", queued_before=NOW - timedelta(seconds=1))
        assert unit.events.read_backlog() == Backlog(2, NOW, 0, 0)
        unit.events.give_up(other, reason="gone", queued_before=NOW)
        assert unit.events.read_backlog() == Backlog(0, None, 2, 0)


def test_a_subscription_comes_back_as_it_was(farms: UnitOfWorkFactory) -> None:
    with farms(write=True) as unit:
        kept = unit.subscriptions.find("orchard", "flow")
        assert kept == subscription("orchard", "flow", EventKind.FLOW_ALARM)
        assert [each.subscription_id for each in unit.subscriptions.list_all("orchard")] == [
            "all", "flow",
        ]  # fmt: skip
        assert len(unit.subscriptions.list_all()) == 3
        unit.subscriptions.delete(kept)
        with pytest.raises(NotFound):
            unit.subscriptions.change(kept)
        with pytest.raises(NotFound):
            unit.subscriptions.add(subscription("nowhere", "any"))


def test_events_that_two_store_at_once_wait_once_for_each_receiver(
    farms: UnitOfWorkFactory, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    if engine.dialect.name == "sqlite":
        farms_of = [["orchard", "vineyard"]]  # one after the other, as a file has one writer
    else:
        farms_of = [["orchard"], ["vineyard"]]
    with farms(write=False) as unit:
        key_of = unit.blocks.farm_keys()

    def store(names: list[str], *rest: list[str]) -> None:
        with farms(write=True, farm_keys=[key_of[name] for name in names]) as unit:
            queue = EventStore._queue

            def queue_after_the_rest(self: EventStore, *given: Any, at: datetime) -> None:
                monkeypatch.setattr(EventStore, "_queue", queue)
                if rest:
                    store(*rest)
                queue(self, *given, at=at)

            monkeypatch.setattr(EventStore, "_queue", queue_after_the_rest)
            unit.events.add_events([(key_of[name], occurred(name)) for name in names], at=NOW)

    store(*farms_of)
    with farms(write=True) as unit:
        lanes = unit.events.claim(owner="a", now=NOW, lease_s=60, lanes=10, events_each=10)
    waiting = sorted(event.subject for lane in lanes for event in lane.events)
    assert waiting == ["orchard", "vineyard"]
