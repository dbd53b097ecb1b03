"""The invented farm with somebody who wants to be told: set up, told, and looked at."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from pydantic import SecretStr

from service.bootstrap import Service
from service.delivery.webhook import WebhookSender
from service.operations.events.deliver_events import Dispatch, DispatchOutcome, deliver_events
from service.operations.events.manage_subscriptions import SubscriptionDraft, put_subscription
from service.records.events import Delivery, EventKind, NewEvent, PauseNews, Subscription
from tests.api.invented_farm import BLOCK_ID, FARM_ID, FixedClock

OWN_SECRET = "not secret at all, but thirty-two characters long"
LOOPBACK = ipaddress.ip_network("127.0.0.0/8")


def with_events(service: Service, **settings: Any) -> Service:
    """The service with a secret to sign with, and receivers on this machine allowed."""
    changed = {"event_secret": SecretStr(OWN_SECRET), "event_networks": (LOOPBACK,), **settings}
    return replace(service, settings=service.settings.model_copy(update=changed))


@dataclass(slots=True)
class EventFarm:
    """A farm with one subscription, and a clock that can be moved on."""

    service: Service
    clock: FixedClock
    secret: str

    @property
    def farm_key(self) -> int:
        """Its key."""
        with self.service.unit_of_work(write=False) as unit:
            return unit.blocks.farm_keys([FARM_ID])[FARM_ID]

    def wait(self, **span: float) -> None:
        """Let time pass."""
        self.clock.instant += timedelta(**span)

    def happen(self, *subjects: str) -> None:
        """Let something happen to each of these, in one transaction each."""
        for subject in subjects:
            with self.service.unit_of_work(write=True) as unit:
                unit.events.add_events([(self.farm_key, invented(subject))], at=self.clock.now())

    def deliver(self, **changes: Any) -> DispatchOutcome:
        """One round of a sender."""
        rules = self.service.event_rules
        parts: dict[str, Any] = {
            "owner": "sender",
            "unit_of_work": self.service.unit_of_work,
            "clock": self.clock,
            "send": WebhookSender(clock=self.clock, networks=rules.networks),
            "own_secret": rules.own_secret,
            "base_url": "https://rillwright.invalid",
            "chance": lambda: 0.5,
        }
        return deliver_events(Dispatch(**{**parts, **changes}))

    def subscription(self, subscription_id: str = "office") -> Subscription:
        """The subscription as it is now."""
        with self.service.unit_of_work(write=False) as unit:
            found = unit.subscriptions.find(FARM_ID, subscription_id)
        assert found is not None
        return found

    def deliveries(self) -> list[Delivery]:
        """All deliveries to it, the oldest first."""
        with self.service.unit_of_work(write=False) as unit:
            return unit.events.list_deliveries(self.subscription(), count=10_000)[::-1]

    def states(self) -> list[str]:
        """Where each event stands, the oldest first."""
        return [each.state.value for each in self.deliveries()]


def event_farm(service: Service, url: str, *, name: str = "office", **draft: Any) -> EventFarm:
    """A farm of which one system wants to be told everything, unless a test differs."""
    service = with_events(service)
    assert isinstance(service.clock, FixedClock)
    with service.unit_of_work(write=True) as unit:
        stored = put_subscription(
            unit,
            FARM_ID,
            SubscriptionDraft(subscription_id=name, url=url, **draft),
            rules=service.event_rules,
            now=service.clock.now(),
        )
    assert stored.secret is not None
    return EventFarm(service, service.clock, stored.secret)


def invented(subject: str = BLOCK_ID) -> NewEvent:
    """Something small that may happen."""
    news = PauseNews(
        farm_id=FARM_ID,
        block_id=subject,
        pause_id="0123456789abcdef",
        starts_local="2026-07-15T06:00:00",
        ends_local="2026-07-15T18:00:00",
        reason="repair",
    )
    return NewEvent(kind=EventKind.BLOCK_PAUSED, subject=subject, news=news)


def nothing(_name: str) -> None:
    """A checkpoint that is passed."""


Checkpoint = Callable[[str], None]
