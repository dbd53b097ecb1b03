"""Which systems are notified of what happens at a farm: set up, changed, tried, taken off the list.

Whoever sets one up chooses its id, so that doing the same again changes nothing. The secret that
signs is made here, shown once, and replaced by another; for a day after that both sign, so that no
event is missed while the receiver learns the new one.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, Fault, InputInvalid, NotFound
from service.operations.events.event_secrets import new_secret
from service.records.audit import Subject
from service.records.events import (
    SUBSCRIBED,
    Delivery,
    DeliveryState,
    EventKind,
    NewEvent,
    Subscription,
    TestNews,
)
from service.records.receiver_address import Network, checked_url

MOST_SUBSCRIPTIONS = 10
"""Of a farm."""
LONGEST_NOTE = 120
BOTH_SIGN_FOR = timedelta(days=1)
TITLE = "the subscription cannot be stored"
BY_CHOICE = "switched off"
_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,39}")


@dataclass(frozen=True, slots=True)
class EventRules:
    """What the operator has set about events."""

    own_secret: str = ""
    """From which the signing secrets follow; empty: nobody is notified."""
    networks: Sequence[Network] = ()
    """Addresses that are not public and may receive events all the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SubscriptionDraft:
    """A subscription as somebody wants it."""

    subscription_id: str
    url: str
    kinds: Collection[str] = SUBSCRIBED
    note: str = ""
    is_on: bool = True


@dataclass(frozen=True, slots=True)
class StoredSubscription:
    """A subscription as it is stored now."""

    subscription: Subscription
    secret: str | None
    """Of a new one, to be shown once; None: it has been shown before."""


@dataclass(frozen=True, slots=True)
class DeliveryPage:
    """A page of deliveries."""

    deliveries: tuple[Delivery, ...]
    has_more: bool


def put_subscription(
    unit: UnitOfWork, farm_id: str, draft: SubscriptionDraft, *, rules: EventRules, now: datetime
) -> StoredSubscription:
    """Store a subscription, or change the one with that id; the same again changes nothing.

    Raises NotFound for an unknown farm, InputInvalid with every fault, Conflict where the farm has
    too many or the operator has set no secret. One that is switched on again starts afresh:
    what was given up meanwhile can be sent again.
    """
    unit.blocks.get_farm(farm_id)
    _check(draft, rules)
    kinds = frozenset(map(EventKind, draft.kinds))
    before = unit.subscriptions.find(farm_id, draft.subscription_id)
    if before is None:
        return _add(unit, farm_id, draft, rules=rules, now=now)
    after = replace(before, url=draft.url, kinds=kinds, note=draft.note.strip())
    if draft.is_on and before.disabled_at is not None:
        after = replace(
            after, disabled_at=None, disabled_reason="", failing_since=None, next_try_at=now
        )
    elif not draft.is_on and before.disabled_at is None:
        after = replace(after, disabled_at=now, disabled_reason=BY_CHOICE)
        unit.events.give_up(before, reason=BY_CHOICE)
    if after.url != before.url:
        after = replace(after, failing_since=None, next_try_at=now)
    if after != before:
        unit.subscriptions.change(after)
        _note(unit, before, after)
    return StoredSubscription(after, None)


def _add(
    unit: UnitOfWork, farm_id: str, draft: SubscriptionDraft, *, rules: EventRules, now: datetime
) -> StoredSubscription:
    if len(unit.subscriptions.list_all(farm_id)) >= MOST_SUBSCRIPTIONS:
        raise Conflict(
            f"farm {farm_id!r} has {MOST_SUBSCRIPTIONS} subscriptions already; remove one first"
        )
    secret, shown = new_secret(rules.own_secret)
    added = Subscription(
        farm_id=farm_id,
        subscription_id=draft.subscription_id,
        url=draft.url,
        kinds=frozenset(map(EventKind, draft.kinds)),
        note=draft.note.strip(),
        created_at=now,
        secret=secret,
        disabled_at=None if draft.is_on else now,
        disabled_reason="" if draft.is_on else BY_CHOICE,
        next_try_at=now,
    )
    unit.subscriptions.add(added)
    _note(unit, None, added)
    return StoredSubscription(added, shown)


def get_subscription(
    farm_id: str, subscription_id: str, *, unit_of_work: UnitOfWorkFactory
) -> Subscription:
    """A subscription of a farm; raises NotFound."""
    with unit_of_work(write=False) as unit:
        return found_subscription(unit, farm_id, subscription_id)


def list_subscriptions(farm_id: str, *, unit_of_work: UnitOfWorkFactory) -> list[Subscription]:
    """The subscriptions of a farm by id; raises NotFound for an unknown farm."""
    with unit_of_work(write=False) as unit:
        unit.blocks.get_farm(farm_id)
        return unit.subscriptions.list_all(farm_id)


def remove_subscription(unit: UnitOfWork, farm_id: str, subscription_id: str) -> None:
    """Remove a subscription and all that waits for it; raises NotFound."""
    before = found_subscription(unit, farm_id, subscription_id)
    unit.subscriptions.delete(before)
    _note(unit, before, None)


def rotate_secret(
    unit: UnitOfWork, farm_id: str, subscription_id: str, *, rules: EventRules, now: datetime
) -> StoredSubscription:
    """A new secret, to be shown once; the former one signs too for another day. Raises NotFound."""
    before = found_subscription(unit, farm_id, subscription_id)
    secret, shown = new_secret(rules.own_secret)
    until = now + BOTH_SIGN_FOR
    after = replace(
        before,
        secret=secret,
        former_secret=before.secret,
        former_until=until,
        next_try_at=min(before.next_try_at, now),
    )
    unit.subscriptions.change(after)
    unit.audit.note(
        Subject.SUBSCRIPTION, subscription_id, farm_id=farm_id, before={}, after={
            "rotated_at": now, "former_until": until,
        },
    )  # fmt: skip
    return StoredSubscription(after, shown)


def send_test(unit: UnitOfWork, farm_id: str, subscription_id: str, *, now: datetime) -> str:
    """Queue a test event for one receiver; returns its id. Raises NotFound, or Conflict if off."""
    subscription = found_subscription(unit, farm_id, subscription_id)
    if subscription.disabled_at is not None:
        raise Conflict(f"subscription {subscription_id!r} is off; switch it on first")
    news = TestNews(farm_id=farm_id, subscription_id=subscription_id)
    occurred = NewEvent(kind=EventKind.TEST, subject=subscription_id, news=news)
    event_id = unit.events.add_for(subscription, occurred, at=now)
    unit.audit.note(
        Subject.SUBSCRIPTION, subscription_id, farm_id=farm_id, before={}, after={"test": event_id}
    )
    return event_id


def resend_events(
    unit: UnitOfWork,
    farm_id: str,
    subscription_id: str,
    *,
    event_ids: Collection[str] | None,
    now: datetime,
) -> int:
    """Queue events again that were given up, all or some; returns how many.

    Raises NotFound, Conflict if the subscription is off, InputInvalid for an event that was not
    given up.
    """
    subscription = found_subscription(unit, farm_id, subscription_id)
    if subscription.disabled_at is not None:
        raise Conflict(f"subscription {subscription_id!r} is off; switch it on first")
    count = unit.events.resend(subscription, event_ids, at=now)
    if event_ids is not None and count < len(set(event_ids)):
        raise InputInvalid(
            "the events cannot be sent again",
            [
                Fault(
                    "event_ids",
                    f"{len(set(event_ids)) - count} that are not",
                    "ids of events that were given up for this receiver",
                )
            ],
        )
    if count:
        unit.audit.note(
            Subject.SUBSCRIPTION, subscription_id, farm_id=farm_id, before={}, after={
                "sent_again_count": count,
            },
        )  # fmt: skip
    return count


def list_deliveries(
    farm_id: str,
    subscription_id: str,
    *,
    count: int,
    state: DeliveryState | None = None,
    older_than: int | None = None,
    unit_of_work: UnitOfWorkFactory,
) -> DeliveryPage:
    """Deliveries to a receiver, the newest event first; raises NotFound."""
    with unit_of_work(write=False) as unit:
        subscription = found_subscription(unit, farm_id, subscription_id)
        found = unit.events.list_deliveries(
            subscription, count=count + 1, state=state, older_than=older_than
        )
    return DeliveryPage(tuple(found[:count]), len(found) > count)


def found_subscription(unit: UnitOfWork, farm_id: str, subscription_id: str) -> Subscription:
    """A subscription of a farm; raises NotFound."""
    unit.blocks.get_farm(farm_id)
    found = unit.subscriptions.find(farm_id, subscription_id)
    if found is None:
        raise NotFound(f"farm {farm_id!r}: it has no subscription {subscription_id!r}")
    return found


def noted(subscription: Subscription | None) -> dict[str, object] | None:
    """A subscription as the record of changes keeps it: without what its address may hide."""
    if subscription is None:
        return None
    parts = urlsplit(subscription.url)
    return {
        "url": f"{parts.scheme}://{parts.netloc}",
        "url_sha256": hashlib.sha256(subscription.url.encode()).hexdigest()[:12],
        "kinds": sorted(subscription.kinds),
        "note": subscription.note,
        "disabled_at": subscription.disabled_at,
        "disabled_reason": subscription.disabled_reason,
    }


def _note(unit: UnitOfWork, before: Subscription | None, after: Subscription | None) -> None:
    one = after or before
    if one is None:
        return
    unit.audit.note(
        Subject.SUBSCRIPTION,
        one.subscription_id,
        farm_id=one.farm_id,
        before=noted(before),
        after=noted(after),
    )


def _check(draft: SubscriptionDraft, rules: EventRules) -> None:
    faults = [*_name_faults(draft), *_kind_faults(draft.kinds)]
    try:
        checked_url(draft.url, rules.networks)
    except InputInvalid as error:
        faults += error.faults
    if faults:
        raise InputInvalid(TITLE, faults)


def _name_faults(draft: SubscriptionDraft) -> Iterable[Fault]:
    if not _ID.fullmatch(draft.subscription_id):
        allowed = "small letters, digits and hyphens, 40 at most, such as 'office'"
        yield Fault("subscription_id", repr(draft.subscription_id)[:80], allowed)
    if len(draft.note) > LONGEST_NOTE or not (draft.note.isprintable()):
        yield Fault("note", "another text", f"at most {LONGEST_NOTE} characters in one line")


def _kind_faults(kinds: Collection[str]) -> Iterable[Fault]:
    known = [str(kind) for kind in SUBSCRIBED]
    for kind in kinds:
        if kind not in known:
            yield Fault("kinds", repr(kind)[:80], f"one of {', '.join(known)}")
    if not kinds:
        yield Fault("kinds", "none", f"one or more of {', '.join(known)}")
