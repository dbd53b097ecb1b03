"""Give a block its own numbers of what a mulch takes off Kc and how a small canopy counts.

Revision: 202611291115
Follows: 202611291110
Written: 2026-11-29 11:15:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291115"
down_revision: str | Sequence[str] | None = "202611291110"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

COLUMNS = ("mulch_kc_initial", "mulch_kc_reduction_fraction", "canopy_density_factor")


def upgrade() -> None:
    for name in COLUMNS:
        op.add_column("block_version", sa.Column(name, sa.Double()))
    # What held for every block so far; a load of its file gives the crop's and the mulch's own.
    op.execute(
        "UPDATE block_version SET mulch_kc_initial = 0.9 * kc_initial,"
        " mulch_kc_reduction_fraction = 0.1, canopy_density_factor = 1.5"
    )


def downgrade() -> None:
    for name in COLUMNS:
        op.drop_column("block_version", name)
