"""Remember sessions of the pages that somebody has ended, until they would end by themselves.

Revision: 202611300705
Follows: 202611291520
Written: 2026-11-30 07:05:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611300705"
down_revision: str | Sequence[str] | None = "202611291520"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "ended_session",
        sa.Column("cookie_digest", sa.Text(), nullable=False),
        sa.Column("ends_at", INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("cookie_digest", name="pk_ended_session"),
    )


def downgrade() -> None:
    op.drop_table("ended_session")
