"""Add people and the mails to them.

Revision: 202611251100
Follows: 202611251045
Written: 2026-11-25 11:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251100"
down_revision: str | Sequence[str] | None = "202611251045"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time; it numbers rows of INTEGER keys only.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "person",
        sa.Column("person_key", sa.Integer(), nullable=False),
        sa.Column("farm_key", sa.Integer()),
        sa.Column("mail_address", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("language", sa.Text(), nullable=False),
        sa.Column("unit_system", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("gets_evening", sa.Boolean(), nullable=False),
        sa.Column("gets_weekly", sa.Boolean(), nullable=False),
        sa.Column("has_left_evening", sa.Boolean(), nullable=False),
        sa.Column("has_left_weekly", sa.Boolean(), nullable=False),
        sa.Column("reference_block_id", sa.Text(), nullable=False),
        sa.Column("suppressed_at", INSTANT),
        sa.Column("suppressed_reason", sa.Text(), nullable=False),
        sa.Column("late_count", sa.Integer(), nullable=False),
        sa.CheckConstraint("language IN ('en', 'es')", name=op.f("ck_person_language")),
        sa.CheckConstraint("unit_system IN ('us', 'si')", name=op.f("ck_person_unit_system")),
        sa.CheckConstraint("role IN ('grower', 'adviser')", name=op.f("ck_person_role")),
        sa.CheckConstraint("late_count >= 0", name=op.f("ck_person_late_not_negative")),
        sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name="fk_person_farm_key_farm"),
        sa.PrimaryKeyConstraint("person_key", name="pk_person"),
        sa.UniqueConstraint("mail_address", "farm_key", name="uq_person_mail_address_farm_key"),
    )
    op.create_index("ix_person_farm_key", "person", ["farm_key"], unique=False)
    op.create_index(
        "ix_person_without_farm",
        "person",
        ["mail_address"],
        unique=True,
        sqlite_where=sa.text("farm_key IS NULL"),
        postgresql_where=sa.text("farm_key IS NULL"),
    )
    op.create_table(
        "mail",
        sa.Column("mail_key", BIG_KEY, nullable=False),
        sa.Column("person_key", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Text(), nullable=False),
        sa.Column("plan_day", sa.Date(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("plan_version", sa.Integer(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("queued_at", INSTANT, nullable=False),
        sa.Column("expires_at", INSTANT, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("next_try_at", INSTANT, nullable=False),
        sa.Column("changed_at", INSTANT, nullable=False),
        sa.Column("attempt_count", sa.Integer(), nullable=False),
        sa.Column("last_reply", sa.Text(), nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("token_digest", sa.Text()),
        sa.Column("message", sa.LargeBinary()),
        sa.CheckConstraint("kind IN ('evening', 'weekly', 'bulletin')", name=op.f("ck_mail_kind")),
        sa.CheckConstraint(
            "state IN ('queued', 'sending', 'sent', 'failed', 'dropped')",
            name=op.f("ck_mail_state"),
        ),
        sa.CheckConstraint("plan_version >= 1", name=op.f("ck_mail_version_positive")),
        sa.ForeignKeyConstraint(
            ["person_key"], ["person.person_key"], name="fk_mail_person_key_person"
        ),
        sa.PrimaryKeyConstraint("mail_key", name="pk_mail"),
        sa.UniqueConstraint("token_digest", name="uq_mail_token_digest"),
        sa.UniqueConstraint(
            "person_key",
            "farm_id",
            "plan_day",
            "kind",
            "plan_version",
            name="uq_mail_person_key_farm_id_plan_day_kind_plan_version",
        ),
    )
    op.create_index("ix_mail_state_next_try_at", "mail", ["state", "next_try_at"], unique=False)


def downgrade() -> None:
    op.drop_table("mail")
    op.drop_table("person")
