"""Keep with the members of an evening what earlier ones at the place have taught.

Revision: 202611301910
Follows: 202611301840
Written: 2026-11-30 19:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301910"
down_revision: str | Sequence[str] | None = "202611301840"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column("forecast_members", sa.Column("correction", sa.LargeBinary()))


def downgrade() -> None:
    op.drop_column("forecast_members", "correction")
