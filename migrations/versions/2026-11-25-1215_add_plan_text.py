"""Add plans as they are read, written out at publication.

Revision: 202611251215
Follows: 202611251200
Written: 2026-11-25 12:15:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251215"
down_revision: str | Sequence[str] | None = "202611251200"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "plan_text",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_plan_text_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", "day", name="pk_plan_text"),
    )


def downgrade() -> None:
    op.drop_table("plan_text")
