"""Let a block say which day is the last for its nitrogen.

Revision: 202611291430
Follows: 202611291410
Written: 2026-11-29 14:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291430"
down_revision: str | Sequence[str] | None = "202611291410"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("last_nitrogen_doy", sa.Double()))


def downgrade() -> None:
    op.drop_column("block_version", "last_nitrogen_doy")
