"""Keep the members of ensembles, and count what their services were asked for.

Revision: 202611301820
Follows: 202611301800
Written: 2026-11-30 18:20:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301820"
down_revision: str | Sequence[str] | None = "202611301800"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "forecast_members",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("fetched_at", INSTANT, nullable=False),
        sa.Column("first_seen_at", INSTANT, nullable=False),
        sa.Column("given_count", sa.Integer(), nullable=False),
        sa.Column("hole_count", sa.Integer(), nullable=False),
        sa.Column("frozen_count", sa.Integer(), nullable=False),
        sa.Column("member_count", sa.Integer(), nullable=False),
        sa.Column("day_count", sa.Integer(), nullable=False),
        sa.Column("courses", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("member_count >= 0 AND day_count >= 0", name="counts_not_negative"),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_forecast_members_site_key_site"
        ),
        sa.PrimaryKeyConstraint("site_key", "model", "first_day", name="pk_forecast_members"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "source_weight",
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("hour", INSTANT, nullable=False),
        sa.Column("weight", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("source", "hour", name="pk_source_weight"),
    )


def downgrade() -> None:
    op.drop_table("source_weight")
    op.drop_table("forecast_members")
