"""Keep a run that is undone, so that copies elsewhere learn of it.

Revision: 202611301920
Follows: 202611301910
Written: 2026-11-30 19:20:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301920"
down_revision: str | Sequence[str] | None = "202611301910"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.add_column("run", sa.Column("undone_at", INSTANT))


def downgrade() -> None:
    """An undone run would count again, so it goes."""
    op.execute("DELETE FROM run WHERE undone_at IS NOT NULL")
    op.drop_column("run", "undone_at")
