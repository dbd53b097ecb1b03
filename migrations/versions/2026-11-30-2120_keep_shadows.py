"""Keep days on paper, and know blocks that made no choice from those that chose the evening rule.

Revision: 202611302120
Follows: 202611301925
Written: 2026-11-30 21:20:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611302120"
down_revision: str | Sequence[str] | None = "202611301925"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "shadow_day",
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("blocks", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_shadow_day_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("farm_key", "day", name="pk_shadow_day"),
        sqlite_with_rowid=False,
    )
    # The evening rule that nobody chose is no number; one that was chosen stays.
    op.execute(
        "UPDATE block_version SET risk_attitude = NULL WHERE risk_attitude = 0"
        """ AND origins NOT LIKE '%"risk_attitude":"given"%'"""
    )


def downgrade() -> None:
    op.execute("UPDATE block_version SET risk_attitude = 0 WHERE risk_attitude IS NULL")
    op.drop_table("shadow_day")
