"""Events in the database: what happened, and what was delivered.

Senders claim whole receivers, under a lease: the events of one receiver are sent by one process at
a time and so in their order. What a process that dies had claimed is free again once its lease
ends, and is sent again under the same id.
"""

from __future__ import annotations

import secrets
from collections.abc import Collection, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import orjson
from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    Select,
    bindparam,
    delete,
    exists,
    func,
    insert,
    literal,
    select,
    update,
)

from service.agronomy.records import Ints
from service.database.bulk import insert_rows, is_among, is_one_of
from service.database.column_types import UtcInstant, instant_text
from service.database.subscription_store import (
    farm_key_of,
    key_of,
    subscription_from,
    subscriptions,
    wanted_kinds,
)
from service.database.tables import event, event_delivery, event_subscription
from service.records.events import (
    Backlog,
    Delivery,
    DeliveryState,
    EventKind,
    Lane,
    LaneResult,
    NewEvent,
    StoredEvent,
    Subscription,
)

LONGEST_REPLY = 200
_LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)
_WAITING, _DEAD = DeliveryState.WAITING.value, DeliveryState.DEAD.value


class EventStore:
    """What happened at farms, on its way to those who want to be notified."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add_events(self, events: Sequence[tuple[int, NewEvent]], *, at: datetime) -> int:
        """Store what happened, each with the key of its farm, for those who want it.

        What nobody wants is not stored, nor an occurrence that is. Returns how many were new.
        """
        farm_keys = np.array(sorted({key for key, _ in events}), dtype=np.int64)
        wanted = wanted_kinds(self._connection, farm_keys)
        told = self._told(farm_keys, [each.occurrence for _, each in events if each.occurrence])
        new = [
            (key, each)
            for key, each in events
            if each.kind in wanted.get(key, ()) and (key, each.occurrence) not in told
        ]
        if not new:
            return 0
        event_ids = self._insert(new, at)
        kind = literal(" ") + event.c.kind + literal(" ")
        self._queue(
            is_one_of(self._connection, event.c.event_id, event_ids),
            event_subscription.c.disabled_at.is_(None),
            event_subscription.c.kinds.contains(kind),
            at=at,
        )
        return len(new)

    def add_for(self, subscription: Subscription, occurred: NewEvent, *, at: datetime) -> str:
        """Store an event for one subscription, whatever it is for; returns the event's id."""
        farm_key = farm_key_of(self._connection, subscription.farm_id)
        (event_id,) = self._insert([(farm_key, occurred)], at)
        self._queue(
            event.c.event_id == event_id,
            event_subscription.c.subscription_key == key_of(self._connection, subscription),
            at=at,
        )
        return event_id

    def _insert(self, events: Sequence[tuple[int, NewEvent]], at: datetime) -> list[str]:
        """Store events; returns their ids."""
        event_ids = [f"evt_{secrets.token_hex(16)}" for _ in events]
        moment = instant_text(at)
        insert_rows(
            self._connection,
            event,
            ("event_id", "farm_key", "kind", "subject", "occurred_at", "data", "occurrence"),
            (
                (
                    event_id,
                    farm_key,
                    each.kind.value,
                    each.subject,
                    moment,
                    orjson.dumps(each.news, option=orjson.OPT_UTC_Z).decode(),
                    each.occurrence,
                )
                for event_id, (farm_key, each) in zip(event_ids, events, strict=True)
            ),
        )
        return event_ids

    def _queue(self, *conditions: ColumnElement[bool], at: datetime) -> None:
        """Let events wait for the subscriptions of their farm, where the conditions hold."""
        columns = {
            "subscription_key": event_subscription.c.subscription_key,
            "event_key": event.c.event_key,
            "state": literal(_WAITING),
            "attempt_count": literal(0),
            "queued_at": literal(at, UtcInstant),
            "reply": literal(""),
        }
        queued = (
            select(*columns.values())
            .join(event_subscription, event_subscription.c.farm_key == event.c.farm_key)
            .where(*conditions)
        )
        self._connection.execute(insert(event_delivery).from_select(list(columns), queued))

    def _told(self, farm_keys: Ints, occurrences: Sequence[str]) -> set[tuple[int, str | None]]:
        if not occurrences:
            return set()
        rows = self._connection.execute(
            select(event.c.farm_key, event.c.occurrence).where(
                is_among(self._connection, event.c.farm_key, farm_keys),
                is_one_of(self._connection, event.c.occurrence, occurrences),
            )
        )
        return {(farm_key, occurrence) for farm_key, occurrence in rows}

    def has_due(self, *, now: datetime) -> bool:
        """Whether anything waits that may be sent now and that no process has claimed."""
        return self._connection.execute(_due(now).limit(1)).first() is not None

    def claim(
        self, *, owner: str, now: datetime, lease_s: int, lanes: int, events_each: int
    ) -> list[Lane]:
        """Claim receivers for whom something waits that may be sent now, the longest due first."""
        rows = (
            self._connection.execute(
                _due(now)
                .order_by(event_subscription.c.next_try_at, event_subscription.c.subscription_key)
                .limit(lanes)
            )
            .mappings()
            .all()
        )
        if not rows:
            return []
        keys = [row["subscription_key"] for row in rows]
        self._connection.execute(
            update(event_subscription)
            .where(event_subscription.c.subscription_key.in_(keys))
            .values(owner=owner, lease_until=now + timedelta(seconds=lease_s))
        )
        return [
            Lane(
                row["subscription_key"],
                subscription_from(row),
                self._waiting(row["subscription_key"], row["farm_id"], events_each),
            )
            for row in rows
        ]

    def _waiting(self, subscription_key: int, farm_id: str, most: int) -> tuple[StoredEvent, ...]:
        rows = self._connection.execute(
            select(event, event_delivery.c.queued_at, event_delivery.c.attempt_count)
            .join(event_delivery, event_delivery.c.event_key == event.c.event_key)
            .where(
                event_delivery.c.subscription_key == subscription_key,
                event_delivery.c.state == _WAITING,
            )
            .order_by(event_delivery.c.event_key)
            .limit(most)
        ).mappings()
        return tuple(
            StoredEvent(
                event_key=row["event_key"],
                event_id=row["event_id"],
                farm_id=farm_id,
                kind=EventKind(row["kind"]),
                subject=row["subject"],
                occurred_at=row["occurred_at"],
                data=orjson.loads(row["data"]),
                queued_at=row["queued_at"],
                attempt_count=row["attempt_count"],
            )
            for row in rows
        )

    def settle(self, lane_key: int, result: LaneResult, *, owner: str) -> bool:
        """Store what became of a lane and let go of it; False if another process has taken it over.

        The attempts of a lane that was taken over are not stored: the other process sends again.
        """
        values: dict[str, Any] = {
            "owner": "",
            "lease_until": _LONG_AGO,
            "next_try_at": result.next_try_at,
            "failing_since": result.failing_since,
        }
        if result.disabled_at is not None:
            values["disabled_at"] = result.disabled_at
            values["disabled_reason"] = result.disabled_reason
        changed = self._connection.execute(
            update(event_subscription)
            .where(
                event_subscription.c.subscription_key == lane_key,
                event_subscription.c.owner == owner,
            )
            .values(values)
        )
        if changed.rowcount != 1:
            return False
        if result.attempts:
            self._connection.execute(
                _SETTLED,
                [
                    {
                        "of_lane": lane_key,
                        "of_event": event_key,
                        "new_state": state.value,
                        "at": attempt.at,
                        "answered": attempt.status,
                        "said": attempt.reply[:LONGEST_REPLY],
                    }
                    for event_key, (state, attempt) in result.attempts.items()
                ],
            )
        return True

    def give_up(
        self, subscription: Subscription, *, reason: str, queued_before: datetime | None = None
    ) -> int:
        """Let nothing (queued before an instant) wait for a subscription any more; returns how many
        deliveries died.
        """
        waiting = update(event_delivery).where(
            event_delivery.c.subscription_key == key_of(self._connection, subscription),
            event_delivery.c.state == _WAITING,
        )
        if queued_before is not None:
            waiting = waiting.where(event_delivery.c.queued_at <= queued_before)
        return self._connection.execute(
            waiting.values(state=_DEAD, reply=reason[:LONGEST_REPLY])
        ).rowcount

    def resend(
        self, subscription: Subscription, event_ids: Collection[str] | None, *, at: datetime
    ) -> int:
        """Let dead deliveries (all, or those of some events) wait again; returns how many do."""
        key = key_of(self._connection, subscription)
        chosen = [event_delivery.c.subscription_key == key, event_delivery.c.state == _DEAD]
        if event_ids is not None:
            named = select(event.c.event_key).where(
                is_one_of(self._connection, event.c.event_id, list(event_ids))
            )
            chosen.append(event_delivery.c.event_key.in_(named))
        changed = self._connection.execute(
            update(event_delivery)
            .where(*chosen)
            .values(state=_WAITING, attempt_count=0, queued_at=at)
        )
        self._connection.execute(
            update(event_subscription)
            .where(event_subscription.c.subscription_key == key)
            .values(next_try_at=at)
        )
        return changed.rowcount

    def list_deliveries(
        self,
        subscription: Subscription,
        *,
        count: int,
        state: DeliveryState | None = None,
        older_than: int | None = None,
    ) -> list[Delivery]:
        """Deliveries of a subscription, the newest event first; older than that key if given."""
        query = (
            select(event, event_delivery)
            .join(event_delivery, event_delivery.c.event_key == event.c.event_key)
            .where(event_delivery.c.subscription_key == key_of(self._connection, subscription))
            .order_by(event_delivery.c.event_key.desc())
            .limit(count)
        )
        if state is not None:
            query = query.where(event_delivery.c.state == state.value)
        if older_than is not None:
            query = query.where(event_delivery.c.event_key < older_than)
        return [_delivery(row) for row in self._connection.execute(query).mappings()]

    def prune(self, *, before: datetime) -> int:
        """Delete deliveries that wait no more and are older, and events of none; returns how many
        deliveries.
        """
        old = select(event.c.event_key).where(event.c.occurred_at < before)
        deleted = self._connection.execute(
            delete(event_delivery).where(
                event_delivery.c.state != _WAITING, event_delivery.c.event_key.in_(old)
            )
        ).rowcount
        is_needed = exists().where(event_delivery.c.event_key == event.c.event_key)
        self._connection.execute(delete(event).where(event.c.occurred_at < before, ~is_needed))
        return deleted

    def read_backlog(self) -> Backlog:
        """What waits, of all farms; what waits for a subscription that is off does not count."""
        waiting = event_delivery.c.state == _WAITING
        dead = event_delivery.c.state == _DEAD
        off = event_subscription.c.disabled_at.is_not(None)
        count = select(func.count())
        row = self._connection.execute(
            select(
                count.select_from(event_delivery).where(waiting).scalar_subquery(),
                select(func.min(event_delivery.c.queued_at)).where(waiting).scalar_subquery(),
                count.select_from(event_delivery).where(dead).scalar_subquery(),
                count.select_from(event_subscription).where(off).scalar_subquery(),
            )
        ).one()
        return Backlog(*row)


_IS_OPEN = event_subscription.c.disabled_at.is_(None)
_HAS_WAITING = exists().where(
    event_delivery.c.subscription_key == event_subscription.c.subscription_key,
    event_delivery.c.state == _WAITING,
)


def _due(now: datetime) -> Select[Any]:
    return subscriptions().where(
        _IS_OPEN,
        event_subscription.c.next_try_at <= now,
        event_subscription.c.lease_until <= now,
        _HAS_WAITING,
    )


_SETTLED = (
    update(event_delivery)
    .where(
        event_delivery.c.subscription_key == bindparam("of_lane"),
        event_delivery.c.event_key == bindparam("of_event"),
    )
    .values(
        state=bindparam("new_state"),
        attempt_count=event_delivery.c.attempt_count + 1,
        tried_at=bindparam("at"),
        status=bindparam("answered"),
        reply=bindparam("said"),
    )
)


def _delivery(row: RowMapping) -> Delivery:
    return Delivery(
        event_key=row["event_key"],
        event_id=row["event_id"],
        kind=EventKind(row["kind"]),
        subject=row["subject"],
        occurred_at=row["occurred_at"],
        state=DeliveryState(row["state"]),
        attempt_count=row["attempt_count"],
        queued_at=row["queued_at"],
        tried_at=row["tried_at"],
        status=row["status"],
        reply=row["reply"],
    )
