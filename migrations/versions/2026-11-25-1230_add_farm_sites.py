"""Remember which sites a farm names, also before a block draws on them.

Revision: 202611251230
Follows: 202611251215
Written: 2026-11-25 12:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251230"
down_revision: str | Sequence[str] | None = "202611251215"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None


def upgrade() -> None:
    op.create_table(
        "farm_site",
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name="fk_farm_site_farm_key_farm"),
        sa.ForeignKeyConstraint(["site_key"], ["site.site_key"], name="fk_farm_site_site_key_site"),
        sa.PrimaryKeyConstraint("farm_key", "site_key", name="pk_farm_site"),
    )
    op.create_index("ix_farm_site_site_key", "farm_site", ["site_key"])
    # A farm named at least the sites that its blocks draw on, retired blocks too.
    op.execute(
        "INSERT INTO farm_site (farm_key, site_key)"
        " SELECT DISTINCT block.farm_key, newest.site_key"
        " FROM block JOIN block_version AS newest ON newest.block_key = block.block_key"
        " WHERE newest.version = (SELECT MAX(other.version) FROM block_version AS other"
        " WHERE other.block_key = newest.block_key)"
    )


def downgrade() -> None:
    op.drop_index("ix_farm_site_site_key", table_name="farm_site")
    op.drop_table("farm_site")
