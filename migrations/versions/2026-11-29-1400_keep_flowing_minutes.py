"""Keep the minutes of a metered run in which water flowed.

Runs reported before are compared by all of their minutes, as they were.

Revision: 202611291400
Follows: 202611291020
Written: 2026-11-29 14:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291400"
down_revision: str | Sequence[str] | None = "202611291020"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("run", sa.Column("flowing_min", sa.Double()))


def downgrade() -> None:
    op.drop_column("run", "flowing_min")
