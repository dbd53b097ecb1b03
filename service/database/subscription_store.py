"""Subscriptions in the database: which systems want to be notified of what happens at a farm."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, RowMapping, Select, delete, insert, select, update

from service.agronomy.records import Ints
from service.database.bulk import is_among
from service.database.tables import event_delivery, event_subscription, farm
from service.errors import NotFound
from service.records.events import EventKind, SigningSecret, Subscription


class SubscriptionStore:
    """Subscriptions of farms; no secret is stored with them."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, subscription: Subscription) -> None:
        """Store a new subscription; raises NotFound for an unknown farm."""
        farm_key = farm_key_of(self._connection, subscription.farm_id)
        self._connection.execute(
            insert(event_subscription).values(
                **_values(subscription),
                farm_key=farm_key,
                subscription_id=subscription.subscription_id,
                created_at=subscription.created_at,
                owner="",
                lease_until=subscription.created_at,
            )
        )

    def change(self, subscription: Subscription) -> None:
        """Store what has changed of a subscription; raises NotFound."""
        self._connection.execute(
            update(event_subscription)
            .where(event_subscription.c.subscription_key == key_of(self._connection, subscription))
            .values(_values(subscription))
        )

    def delete(self, subscription: Subscription) -> None:
        """Remove a subscription and all that waits for it; raises NotFound."""
        key = key_of(self._connection, subscription)
        for table in (event_delivery, event_subscription):
            self._connection.execute(delete(table).where(table.c.subscription_key == key))

    def find(self, farm_id: str, subscription_id: str) -> Subscription | None:
        """A subscription of a farm."""
        row = self._connection.execute(
            subscriptions().where(
                farm.c.farm_id == farm_id, event_subscription.c.subscription_id == subscription_id
            )
        ).mappings().one_or_none()  # fmt: skip
        return None if row is None else subscription_from(row)

    def list_all(self, farm_id: str | None = None) -> list[Subscription]:
        """Subscriptions of a farm, or of all farms, by farm and id."""
        query = subscriptions().order_by(farm.c.farm_id, event_subscription.c.subscription_id)
        if farm_id is not None:
            query = query.where(farm.c.farm_id == farm_id)
        return [subscription_from(row) for row in self._connection.execute(query).mappings()]

    def wanted_kinds(self, farm_keys: Ints | None = None) -> dict[int, frozenset[EventKind]]:
        """What the subscriptions that are on ask for, by farm key; other farms are missing."""
        return wanted_kinds(self._connection, farm_keys)


def farm_key_of(connection: Connection, farm_id: str) -> int:
    """Key of a farm; raises NotFound."""
    key: int | None = connection.execute(
        select(farm.c.farm_key).where(farm.c.farm_id == farm_id)
    ).scalar_one_or_none()
    if key is None:
        raise NotFound(f"farm {farm_id!r}: there is no such farm")
    return key


def key_of(connection: Connection, subscription: Subscription) -> int:
    """Key of a subscription; raises NotFound."""
    key: int | None = connection.execute(
        select(event_subscription.c.subscription_key)
        .join(farm, farm.c.farm_key == event_subscription.c.farm_key)
        .where(
            farm.c.farm_id == subscription.farm_id,
            event_subscription.c.subscription_id == subscription.subscription_id,
        )
    ).scalar_one_or_none()
    if key is None:
        raise NotFound(
            f"farm {subscription.farm_id!r}: it has no subscription"
            f" {subscription.subscription_id!r}"
        )
    return key


def wanted_kinds(connection: Connection, farm_keys: Ints | None) -> dict[int, frozenset[EventKind]]:
    """What the subscriptions that are on ask for, by farm key; other farms are missing."""
    query = select(event_subscription.c.farm_key, event_subscription.c.kinds).where(
        event_subscription.c.disabled_at.is_(None)
    )
    if farm_keys is not None:
        query = query.where(is_among(connection, event_subscription.c.farm_key, farm_keys))
    found: dict[int, frozenset[EventKind]] = {}
    for farm_key, kinds in connection.execute(query):
        found[farm_key] = found.get(farm_key, frozenset()) | _kinds(kinds)
    return found


def subscriptions() -> Select[Any]:
    """Every subscription, with the id of its farm."""
    return select(event_subscription, farm.c.farm_id).join(
        farm, farm.c.farm_key == event_subscription.c.farm_key
    )


def _kinds(text: str) -> frozenset[EventKind]:
    return frozenset(map(EventKind, text.split()))


def _values(subscription: Subscription) -> dict[str, Any]:
    former = subscription.former_secret
    return {
        "url": subscription.url,
        "kinds": f" {' '.join(sorted(subscription.kinds))} ",
        "note": subscription.note,
        "salt": subscription.secret.salt,
        "secret_sha256": subscription.secret.sha256,
        "former_salt": None if former is None else former.salt,
        "former_sha256": None if former is None else former.sha256,
        "former_until": subscription.former_until,
        "disabled_at": subscription.disabled_at,
        "disabled_reason": subscription.disabled_reason,
        "failing_since": subscription.failing_since,
        "next_try_at": subscription.next_try_at,
    }


def subscription_from(row: RowMapping) -> Subscription:
    """The subscription of a row of :func:`subscriptions`."""
    has_former = row["former_salt"] is not None
    return Subscription(
        farm_id=row["farm_id"],
        subscription_id=row["subscription_id"],
        url=row["url"],
        kinds=_kinds(row["kinds"]),
        note=row["note"],
        created_at=row["created_at"],
        secret=SigningSecret(salt=row["salt"], sha256=row["secret_sha256"]),
        former_secret=SigningSecret(salt=row["former_salt"], sha256=row["former_sha256"])
        if has_former
        else None,
        former_until=row["former_until"],
        disabled_at=row["disabled_at"],
        disabled_reason=row["disabled_reason"],
        failing_since=row["failing_since"],
        next_try_at=row["next_try_at"],
    )
