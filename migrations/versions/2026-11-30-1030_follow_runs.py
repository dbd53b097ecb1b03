"""Number the changes of reported runs, so that a copy elsewhere can ask for what is new.

Runs from before have number 0: a copy that begins takes them all.

Revision: 202611301030
Follows: 202611301000
Written: 2026-11-30 10:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301030"
down_revision: str | Sequence[str] | None = "202611301000"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.add_column(
        "run",
        sa.Column("change_count", sa.BigInteger(), nullable=False, server_default=sa.text("0")),
    )
    op.create_index("ix_run_change_count_run_key", "run", ["change_count", "run_key"])


def downgrade() -> None:
    op.drop_index("ix_run_change_count_run_key", table_name="run")
    op.drop_column("run", "change_count")
