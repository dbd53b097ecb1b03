"""Add the watering season of a block, and the temperature below which no water runs.

Blocks stored before are watered all year, as they were, until their file is loaded again; none of
them is watered in hours below freezing.

Revision: 202611291040
Follows: 202611291010
Written: 2026-11-29 10:40:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291040"
down_revision: str | Sequence[str] | None = "202611291010"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_COLUMNS = ("freeze_hold_c", "watering_start_doy", "watering_end_doy")


def upgrade() -> None:
    for name in _COLUMNS:
        op.add_column("block_version", sa.Column(name, sa.Double()))
    op.execute(
        "UPDATE block_version SET freeze_hold_c = 0, watering_start_doy = 1, watering_end_doy = 365"
    )


def downgrade() -> None:
    for name in reversed(_COLUMNS):
        op.drop_column("block_version", name)
