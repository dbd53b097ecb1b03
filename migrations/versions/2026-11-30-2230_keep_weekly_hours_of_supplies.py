"""Keep the hours of every week in which a supply gives no water.

Revision: 202611302230
Follows: 202611302200
Written: 2026-11-30 22:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611302230"
down_revision: str | Sequence[str] | None = "202611302200"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("supply", sa.Column("weekly_no_water", sa.Text()))


def downgrade() -> None:
    op.drop_column("supply", "weekly_no_water")
