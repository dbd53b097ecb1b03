"""Remember which growers were told that a block will weigh the forecast.

Revision: 202611302200
Follows: 202611302120
Written: 2026-11-30 22:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611302200"
down_revision: str | Sequence[str] | None = "202611302120"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "risk_notice",
        sa.Column("block_key", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("told_on", sa.Date(), nullable=False),
        sa.Column("turns_on", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_risk_notice_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", name="pk_risk_notice"),
    )


def downgrade() -> None:
    op.drop_table("risk_notice")
