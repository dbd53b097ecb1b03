"""The tables of events: who wants them, what happened, and what was delivered."""

from __future__ import annotations

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    Index,
    Integer,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
)

from service.database.column_types import BigKey, UtcInstant, metadata

event_subscription = Table(
    "event_subscription",
    metadata,
    Column("subscription_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False),
    Column("subscription_id", Text, nullable=False),
    Column("url", Text, nullable=False),
    Column("kinds", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("created_at", UtcInstant, nullable=False),
    Column("salt", Text, nullable=False),
    Column("secret_sha256", Text, nullable=False),
    Column("former_salt", Text),
    Column("former_sha256", Text),
    Column("former_until", UtcInstant),
    Column("disabled_at", UtcInstant),
    Column("disabled_reason", Text, nullable=False),
    Column("failing_since", UtcInstant),
    Column("next_try_at", UtcInstant, nullable=False),
    Column("owner", Text, nullable=False),
    Column("lease_until", UtcInstant, nullable=False),
    UniqueConstraint("farm_key", "subscription_id"),
)
"""A receiver of a farm's events. No secret is stored: ``salt`` and the operator's own secret give
it, and the digest tells whether they still do. ``kinds``: words, with a blank around each.
``owner`` sends to it until ``lease_until``, so that its events keep their order."""

event = Table(
    "event",
    metadata,
    Column("event_key", BigKey, primary_key=True),
    Column("event_id", Text, nullable=False, unique=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("occurred_at", UtcInstant, nullable=False, index=True),
    Column("data", Text, nullable=False),
    Column("occurrence", Text),
    UniqueConstraint("farm_key", "occurrence"),
)
"""What happened at a farm that somebody wants to be notified of; written in the transaction of the
change itself. Keys rise with time, because transactions that write are one after the other."""

event_delivery = Table(
    "event_delivery",
    metadata,
    Column(
        "subscription_key",
        ForeignKey("event_subscription.subscription_key"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("event_key", ForeignKey("event.event_key"), primary_key=True, autoincrement=False),
    Column("state", Text, nullable=False),
    Column("attempt_count", Integer, nullable=False),
    Column("queued_at", UtcInstant, nullable=False),
    Column("tried_at", UtcInstant),
    Column("status", SmallInteger),
    Column("reply", Text, nullable=False),
    CheckConstraint("state IN ('waiting', 'delivered', 'dead')", name="state"),
    Index("ix_event_delivery_subscription_key_state_event_key",
          "subscription_key", "state", "event_key"),
    Index("ix_event_delivery_event_key", "event_key"),
    Index("ix_event_delivery_state_queued_at", "state", "queued_at"),
)  # fmt: skip
"""An event on its way to one receiver."""
