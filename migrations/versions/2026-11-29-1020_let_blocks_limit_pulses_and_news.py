"""Let a block say how many pulses it may have, what is news to it, and what covers its ground.

Revision: 202611291020
Follows: 202611291000
Written: 2026-11-29 10:20:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291020"
down_revision: str | Sequence[str] | None = "202611291000"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

NUMBERS = ("daily_pulse_count", "news_fraction", "news_depth_mm", "ground_kc")
"""Without a value a block has no limit of pulses, the default of news, and bare ground."""


def upgrade() -> None:
    for name in NUMBERS:
        op.add_column("block_version", sa.Column(name, sa.Double()))


def downgrade() -> None:
    for name in reversed(NUMBERS):
        op.drop_column("block_version", name)
