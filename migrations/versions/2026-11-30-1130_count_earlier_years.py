"""Say on how many earlier years the days of a timer's program rest that no forecast reaches.

Revision: 202611301130
Follows: 202611301100
Written: 2026-11-30 11:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301130"
down_revision: str | Sequence[str] | None = "202611301100"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("timer_program", sa.Column("earlier_year_count", sa.Integer()))


def downgrade() -> None:
    op.drop_column("timer_program", "earlier_year_count")
