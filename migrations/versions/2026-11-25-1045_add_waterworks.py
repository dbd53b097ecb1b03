"""Add the pipes and the water: layouts, catch tests, samples, findings, products, injections.

Revision: 202611251045
Follows: 202611251030
Written: 2026-11-25 10:45:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611251045"
down_revision: str | Sequence[str] | None = "202611251030"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")

_OF_BLOCKS = ("catch_test", "flow_finding", "fertigation")


def upgrade() -> None:
    op.add_column("block_version", sa.Column("layout", sa.Text()))
    for table in _OF_BLOCKS:
        verdict = [sa.Column("verdict", sa.Text(), nullable=False)]
        op.create_table(
            table,
            sa.Column("block_key", sa.Integer(), nullable=False),
            sa.Column("day", sa.Date(), nullable=False),
            *(verdict if table == "flow_finding" else []),
            sa.Column("document", sa.Text(), nullable=False),
            sa.Column("recorded_at", INSTANT, nullable=False),
            sa.ForeignKeyConstraint(
                ["block_key"], ["block.block_key"], name=f"fk_{table}_block_key_block"
            ),
            sa.PrimaryKeyConstraint("block_key", "day", name=f"pk_{table}"),
        )
    op.create_index("ix_fertigation_day", "fertigation", ["day"], unique=False)
    op.create_table(
        "water_sample",
        sa.Column("supply_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["supply_key"], ["supply.supply_key"], name="fk_water_sample_supply_key_supply"
        ),
        sa.PrimaryKeyConstraint("supply_key", "day", name="pk_water_sample"),
    )
    op.create_table(
        "fertiliser_product",
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("product_id", sa.Text(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_fertiliser_product_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("farm_key", "product_id", name="pk_fertiliser_product"),
    )


def downgrade() -> None:
    op.drop_table("fertiliser_product")
    op.drop_table("water_sample")
    for table in reversed(_OF_BLOCKS):
        op.drop_table(table)
    with op.batch_alter_table("block_version") as version:
        version.drop_column("layout")
