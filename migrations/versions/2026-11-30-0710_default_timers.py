"""Let a supply have a timer for its blocks, and an offered program say what its week rests on.

Revision: 202611300710
Follows: 202611300705
Written: 2026-11-30 07:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611300710"
down_revision: str | Sequence[str] | None = "202611300705"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("supply", sa.Column("timer", sa.Text()))
    op.add_column("timer_program", sa.Column("normal_day_count", sa.Integer()))


def downgrade() -> None:
    op.drop_column("timer_program", "normal_day_count")
    op.drop_column("supply", "timer")
