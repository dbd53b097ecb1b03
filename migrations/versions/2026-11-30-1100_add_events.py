"""Tell other systems what happens: subscriptions, events, deliveries, polls of controllers.

Revision: 202611301100
Follows: 202611301030
Written: 2026-11-30 11:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301100"
down_revision: str | Sequence[str] | None = "202611301030"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    _create_subscriptions()
    _create_events()
    _create_deliveries()
    _create_polls()


def _create_subscriptions() -> None:
    op.create_table(
        "event_subscription",
        sa.Column("subscription_key", sa.Integer(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("subscription_id", sa.Text(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("kinds", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created_at", INSTANT, nullable=False),
        sa.Column("salt", sa.Text(), nullable=False),
        sa.Column("secret_sha256", sa.Text(), nullable=False),
        sa.Column("former_salt", sa.Text()),
        sa.Column("former_sha256", sa.Text()),
        sa.Column("former_until", INSTANT),
        sa.Column("disabled_at", INSTANT),
        sa.Column("disabled_reason", sa.Text(), nullable=False),
        sa.Column("failing_since", INSTANT),
        sa.Column("next_try_at", INSTANT, nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("lease_until", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_event_subscription_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("subscription_key", name="pk_event_subscription"),
        sa.UniqueConstraint(
            "farm_key", "subscription_id", name="uq_event_subscription_farm_key_subscription_id"
        ),
    )


def _create_events() -> None:
    op.create_table(
        "event",
        sa.Column("event_key", BIG_KEY, nullable=False),
        sa.Column("event_id", sa.Text(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("occurred_at", INSTANT, nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.Column("occurrence", sa.Text()),
        sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name="fk_event_farm_key_farm"),
        sa.PrimaryKeyConstraint("event_key", name="pk_event"),
        sa.UniqueConstraint("event_id", name="uq_event_event_id"),
        sa.UniqueConstraint("farm_key", "occurrence", name="uq_event_farm_key_occurrence"),
    )
    op.create_index("ix_event_occurred_at", "event", ["occurred_at"])


def _create_deliveries() -> None:
    op.create_table(
        "event_delivery",
        sa.Column("subscription_key", sa.Integer(), nullable=False),
        sa.Column("event_key", BIG_KEY, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("attempt_count", sa.Integer(), nullable=False),
        sa.Column("queued_at", INSTANT, nullable=False),
        sa.Column("tried_at", INSTANT),
        sa.Column("status", sa.SmallInteger()),
        sa.Column("reply", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "state IN ('waiting', 'delivered', 'dead')", name=op.f("ck_event_delivery_state")
        ),
        sa.ForeignKeyConstraint(
            ["event_key"], ["event.event_key"], name="fk_event_delivery_event_key_event"
        ),
        sa.ForeignKeyConstraint(
            ["subscription_key"],
            ["event_subscription.subscription_key"],
            name="fk_event_delivery_subscription_key_event_subscription",
        ),
        sa.PrimaryKeyConstraint("subscription_key", "event_key", name="pk_event_delivery"),
    )
    for columns in (
        ["subscription_key", "state", "event_key"],
        ["event_key"],
        ["state", "queued_at"],
    ):
        op.create_index(f"ix_event_delivery_{'_'.join(columns)}", "event_delivery", columns)


def _create_polls() -> None:
    op.create_table(
        "controller_poll",
        sa.Column("controller_key", sa.Integer(), nullable=False),
        sa.Column("polled_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["controller_key"],
            ["controller.controller_key"],
            name="fk_controller_poll_controller_key_controller",
        ),
        sa.PrimaryKeyConstraint("controller_key", name="pk_controller_poll"),
    )


def downgrade() -> None:
    for table in ("controller_poll", "event_delivery", "event", "event_subscription"):
        op.drop_table(table)
