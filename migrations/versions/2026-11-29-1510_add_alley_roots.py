"""Let blocks have roots outside the wet strip, and keep what rain has stored there.

Revision: 202611291510
Follows: 202611291500
Written: 2026-11-29 15:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291510"
down_revision: str | Sequence[str] | None = "202611291500"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

NUMBERS = (
    ("block_version", "alley_root_fraction"),
    ("balance_day", "alley_rain_mm"),
    ("balance_day", "alley_drainage_mm"),
    ("balance_day", "alley_et_mm"),
    ("balance_day", "alley_store_mm"),
    ("balance_state", "alley_store_mm"),
)
"""Without a value a block has no roots there, and a day no store."""


def upgrade() -> None:
    for table, name in NUMBERS:
        op.add_column(table, sa.Column(name, sa.Double()))


def downgrade() -> None:
    for table, name in reversed(NUMBERS):
        op.drop_column(table, name)
