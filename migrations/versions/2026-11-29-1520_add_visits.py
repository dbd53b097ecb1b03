"""Let a block say when somebody is there to open its valve by hand.

Revision: 202611291520
Follows: 202611291510
Written: 2026-11-29 15:20:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291520"
down_revision: str | Sequence[str] | None = "202611291510"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("visits", sa.Text()))


def downgrade() -> None:
    op.drop_column("block_version", "visits")
