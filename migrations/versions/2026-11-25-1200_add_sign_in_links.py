"""Add mails with a link to sign in, and who asked for one.

Revision: 202611251200
Follows: 202611251100
Written: 2026-11-25 12:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251200"
down_revision: str | Sequence[str] | None = "202611251100"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time; it numbers rows of INTEGER keys only.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "sign_in_request",
        sa.Column("request_key", BIG_KEY, nullable=False),
        sa.Column("mail_address", sa.Text(), nullable=False),
        sa.Column("asked_at", INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("request_key", name="pk_sign_in_request"),
    )
    _allow_kinds("kind IN ('evening', 'weekly', 'bulletin', 'sign-in')", instead_of=_BEFORE)


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM mail WHERE kind = 'sign-in'"))
    _allow_kinds(_BEFORE, instead_of="kind IN ('evening', 'weekly', 'bulletin', 'sign-in')")
    op.drop_table("sign_in_request")


_BEFORE = "kind IN ('evening', 'weekly', 'bulletin')"


def _allow_kinds(kinds: str, *, instead_of: str) -> None:
    """Change one check of ``mail``; SQLite copies the table, of which it cannot read the checks."""
    with op.batch_alter_table("mail", copy_from=_mail(instead_of)) as mail:
        mail.drop_constraint(op.f("ck_mail_kind"), type_="check")
        mail.create_check_constraint(op.f("ck_mail_kind"), kinds)


def _mail(kinds: str) -> sa.Table:
    return sa.Table(
        "mail",
        sa.MetaData(),
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
        sa.CheckConstraint(kinds, name=op.f("ck_mail_kind")),
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
        sa.Index("ix_mail_state_next_try_at", "state", "next_try_at"),
    )
