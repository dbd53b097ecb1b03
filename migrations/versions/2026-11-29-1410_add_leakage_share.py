"""Let a block say which share of its metered water misses the emitters.

Revision: 202611291410
Follows: 202611291400
Written: 2026-11-29 14:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291410"
down_revision: str | Sequence[str] | None = "202611291400"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("leakage_fraction", sa.Double()))


def downgrade() -> None:
    op.drop_column("block_version", "leakage_fraction")
