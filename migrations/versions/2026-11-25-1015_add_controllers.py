"""Add controllers with their channels and programs, marks of change, and calendar links.

Revision: 202611251015
Follows: 202611250930
Written: 2026-11-25 10:15:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251015"
down_revision: str | Sequence[str] | None = "202611250930"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "change_mark",
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("change_count", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("topic", name="pk_change_mark"),
    )
    op.create_table(
        "controller",
        sa.Column("controller_key", sa.Integer(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("controller_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("policy", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("retired_at", INSTANT),
        sa.Column("change_count", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("policy IN ('fallback', 'stop')", name=op.f("ck_controller_policy")),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_controller_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("controller_key", name="pk_controller"),
        sa.UniqueConstraint("controller_id", name="uq_controller_controller_id"),
    )
    op.create_index("ix_controller_farm_key", "controller", ["farm_key"], unique=False)
    op.create_table(
        "controller_channel",
        sa.Column("controller_key", sa.Integer(), nullable=False),
        sa.Column("channel", sa.Integer(), nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("fallback", sa.Text(), nullable=False),
        sa.CheckConstraint("channel >= 1", name=op.f("ck_controller_channel_channel_positive")),
        sa.ForeignKeyConstraint(
            ["controller_key"],
            ["controller.controller_key"],
            name="fk_controller_channel_controller_key_controller",
        ),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_controller_channel_block_key_block"
        ),
        sa.PrimaryKeyConstraint("controller_key", "channel", name="pk_controller_channel"),
        sqlite_with_rowid=False,
    )
    op.create_index(
        "ix_controller_channel_block_key", "controller_channel", ["block_key"], unique=False
    )
    op.create_table(
        "controller_program",
        sa.Column("controller_key", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("json_text", sa.Text(), nullable=False),
        sa.Column("csv_text", sa.Text(), nullable=False),
        sa.Column("change_count", sa.BigInteger(), nullable=False),
        sa.CheckConstraint("version >= 1", name=op.f("ck_controller_program_version_positive")),
        sa.ForeignKeyConstraint(
            ["controller_key"],
            ["controller.controller_key"],
            name="fk_controller_program_controller_key_controller",
        ),
        sa.PrimaryKeyConstraint("controller_key", name="pk_controller_program"),
    )
    op.create_index(
        "ix_controller_program_change_count",
        "controller_program",
        ["change_count"],
        unique=False,
    )
    op.create_table(
        "calendar_link",
        sa.Column("farm_key", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("token_digest", sa.Text(), nullable=False),
        sa.Column("created_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_calendar_link_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("farm_key", name="pk_calendar_link"),
        sa.UniqueConstraint("token_digest", name="uq_calendar_link_token_digest"),
    )


def downgrade() -> None:
    op.drop_table("calendar_link")
    op.drop_table("controller_program")
    op.drop_table("controller_channel")
    op.drop_table("controller")
    op.drop_table("change_mark")
