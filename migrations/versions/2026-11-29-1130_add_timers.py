"""Let a block be run by a timer that keeps one program until it is changed.

Revision: 202611291130
Follows: 202611291115
Written: 2026-11-29 11:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

from service.database.tables import UtcInstant

revision: str = "202611291130"
down_revision: str | Sequence[str] | None = "202611291115"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("timer", sa.Text()))
    op.create_table(
        "timer_program",
        sa.Column(
            "program_key",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            primary_key=True,
        ),
        sa.Column("program_id", sa.Text(), nullable=False, unique=True),
        sa.Column(
            "block_key", sa.Integer(), sa.ForeignKey("block.block_key"), nullable=False, index=True
        ),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("day_rule", sa.Integer(), nullable=False),
        sa.Column("day_mask", sa.Integer(), nullable=False),
        sa.Column("start_count", sa.Integer(), nullable=False),
        sa.Column("first_start_min", sa.Integer(), nullable=False),
        sa.Column("spacing_min", sa.Integer(), nullable=False),
        sa.Column("run_min", sa.Double(), nullable=False),
        sa.Column("offered_at", UtcInstant(), nullable=False),
        sa.Column("is_early", sa.Boolean(), nullable=False),
        sa.Column("excess_mm", sa.Double()),
        sa.Column("drainage_mm", sa.Double()),
        sa.Column("depletion_end_mm", sa.Double()),
        sa.Column("set_from", sa.Date()),
        sa.Column("set_at", UtcInstant()),
        sa.Column("reporter", sa.Text(), nullable=False),
    )


def downgrade() -> None:
    op.drop_table("timer_program")
    op.drop_column("block_version", "timer")
