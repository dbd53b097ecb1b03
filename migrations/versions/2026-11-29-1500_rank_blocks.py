"""Let a block have a rank on a short supply.

Revision: 202611291500
Follows: 202611291430
Written: 2026-11-29 15:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291500"
down_revision: str | Sequence[str] | None = "202611291430"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("priority", sa.Double()))


def downgrade() -> None:
    op.drop_column("block_version", "priority")
