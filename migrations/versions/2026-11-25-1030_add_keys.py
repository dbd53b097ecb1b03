"""Add bearer keys, idempotent answers, soil readings with their correction, and pauses.

Revision: 202611251030
Follows: 202611251015
Written: 2026-11-25 10:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251030"
down_revision: str | Sequence[str] | None = "202611251015"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite numbers the rows of INTEGER keys only, and would drop the offset of a time.
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "api_key",
        sa.Column("key_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("farm_id", sa.Text()),
        sa.Column("scopes", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("created_at", INSTANT, nullable=False),
        sa.Column("expires_at", INSTANT),
        sa.Column("revoked_at", INSTANT),
        sa.Column("last_used_at", INSTANT),
        sa.PrimaryKeyConstraint("key_id", name="pk_api_key"),
    )
    op.create_table(
        "idempotent_answer",
        sa.Column("tenant", sa.Text(), nullable=False),
        sa.Column("idempotency_key", sa.Text(), nullable=False),
        sa.Column("request_digest", sa.Text(), nullable=False),
        sa.Column("status", sa.SmallInteger(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("stored_at", INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("tenant", "idempotency_key", name="pk_idempotent_answer"),
    )
    op.create_index(
        "ix_idempotent_answer_stored_at", "idempotent_answer", ["stored_at"], unique=False
    )
    op.create_table(
        "soil_reading",
        sa.Column("reading_key", BIG_KEY, nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("read_at", INSTANT, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("is_evening", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("volumetric_water", sa.Double(), nullable=False),
        sa.Column("tension_kpa", sa.Double()),
        sa.Column("top_depth_m", sa.Double(), nullable=False),
        sa.Column("bottom_depth_m", sa.Double(), nullable=False),
        sa.Column("depletion_reading_mm", sa.Double(), nullable=False),
        sa.Column("weight_fraction", sa.Double(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint("kind IN ('volumetric', 'tension')", name=op.f("ck_soil_reading_kind")),
        sa.CheckConstraint("weight_fraction BETWEEN 0 AND 1", name=op.f("ck_soil_reading_weight")),
        sa.CheckConstraint(
            "top_depth_m < bottom_depth_m", name=op.f("ck_soil_reading_depths_rise")
        ),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_soil_reading_block_key_block"
        ),
        sa.PrimaryKeyConstraint("reading_key", name="pk_soil_reading"),
        sa.UniqueConstraint("block_key", "read_at", name="uq_soil_reading_block_key_read_at"),
    )
    op.create_index(
        "ix_soil_reading_day_block_key", "soil_reading", ["day", "block_key"], unique=False
    )
    op.create_table(
        "pause",
        sa.Column("pause_key", BIG_KEY, nullable=False),
        sa.Column("pause_id", sa.Text(), nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("starts_local", sa.Text(), nullable=False),
        sa.Column("ends_local", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("cancelled_at", INSTANT),
        sa.CheckConstraint("starts_local < ends_local", name=op.f("ck_pause_starts_before_end")),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_pause_block_key_block"
        ),
        sa.PrimaryKeyConstraint("pause_key", name="pk_pause"),
        sa.UniqueConstraint("pause_id", name="uq_pause_pause_id"),
    )
    op.create_index("ix_pause_block_key", "pause", ["block_key"], unique=False)
    op.add_column("balance_day", sa.Column("correction_mm", sa.Double()))
    op.execute("UPDATE balance_day SET correction_mm = 0.0")  # no reading had corrected them


def downgrade() -> None:
    op.drop_column("balance_day", "correction_mm")
    op.drop_table("pause")
    op.drop_table("soil_reading")
    op.drop_table("idempotent_answer")
    op.drop_table("api_key")
