"""Let a measured canopy grow from the day of its measurement.

Revision: 202611291000
Follows: 202611291130
Written: 2026-11-29 10:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291000"
down_revision: str | Sequence[str] | None = "202611291130"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_NAMES = ("canopy_measured_year", "full_cover_fraction", "full_height_m")


def upgrade() -> None:
    # Empty: sizes that were given before are of this year, as they were.
    for name in _NAMES:
        op.add_column("block_version", sa.Column(name, sa.Double()))


def downgrade() -> None:
    for name in _NAMES:
        op.drop_column("block_version", name)
