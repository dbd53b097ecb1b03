"""Keep the acid that was given to blocks.

Revision: 202611300930
Follows: 202611300900
Written: 2026-11-30 09:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611300930"
down_revision: str | Sequence[str] | None = "202611300900"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "acid_treatment",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_acid_treatment_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", "day", name="pk_acid_treatment"),
    )


def downgrade() -> None:
    op.drop_table("acid_treatment")
