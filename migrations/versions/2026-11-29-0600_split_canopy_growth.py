"""Let cover and height of a canopy grow each by itself.

Revision: 202611290600
Follows: 202611251230
Written: 2026-11-29 06:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611290600"
down_revision: str | Sequence[str] | None = "202611280900"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("block_version", sa.Column("canopy_height_is_scaled", sa.Double()))
    # Where one of the two was given, both stayed as they were; a load of the file tells them apart.
    op.execute("UPDATE block_version SET canopy_height_is_scaled = canopy_is_scaled")


def downgrade() -> None:
    op.drop_column("block_version", "canopy_height_is_scaled")
