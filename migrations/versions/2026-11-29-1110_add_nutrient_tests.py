"""Store leaf, petiole and soil tests of blocks.

Revision: 202611291110
Follows: 202611291040
Written: 2026-11-29 11:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291110"
down_revision: str | Sequence[str] | None = "202611291040"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "nutrient_test",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("tissue", sa.Text(), nullable=False),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_nutrient_test_block_key_block"
        ),
        sa.PrimaryKeyConstraint(
            "block_key", "day", "kind", "tissue", "stage", name="pk_nutrient_test"
        ),
    )


def downgrade() -> None:
    op.drop_table("nutrient_test")
