"""Let a block say what its grower would rather risk.

Revision: 202611301925
Follows: 202611301920
Written: 2026-11-30 19:25:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301925"
down_revision: str | Sequence[str] | None = "202611301920"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    # Without a value a block follows the evening rule, as all did before.
    op.add_column("block_version", sa.Column("risk_attitude", sa.Double()))


def downgrade() -> None:
    op.drop_column("block_version", "risk_attitude")
