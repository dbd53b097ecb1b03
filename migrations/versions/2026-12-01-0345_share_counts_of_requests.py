"""Let web processes share how many requests they have counted.

Revision: 202612010345
Follows: 202612010310
Written: 2026-12-01 03:45:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

from service.database.column_types import UtcInstant

revision: str = "202612010345"
down_revision: str | Sequence[str] | None = "202612010310"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    is_postgresql = op.get_context().dialect.name == "postgresql"
    op.create_table(
        "request_tally",
        sa.Column("counter", sa.Text(), nullable=False),
        sa.Column("ends_at", UtcInstant(), nullable=False),
        sa.Column("request_count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("counter", name="pk_request_tally"),
        # A minute's counts need no log; nothing else would write so often.
        prefixes=["UNLOGGED"] if is_postgresql else [],
    )


def downgrade() -> None:
    op.drop_table("request_tally")
