"""Keep what a grower says of how wet the soil is, beside the readings of sensors.

Revision: 202611291010
Follows: 202611290600
Written: 2026-11-29 10:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611291010"
down_revision: str | Sequence[str] | None = "202611290600"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_BEFORE = "kind IN ('volumetric', 'tension')"
_AFTER = "kind IN ('volumetric', 'tension', 'estimate')"
# SQLite would drop the offset of a time; it numbers rows of INTEGER keys only.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _allow_kinds(_AFTER, instead_of=_BEFORE)


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM soil_reading WHERE kind = 'estimate'"))
    _allow_kinds(_BEFORE, instead_of=_AFTER)


def _allow_kinds(kinds: str, *, instead_of: str) -> None:
    """Change one check of ``soil_reading``; SQLite copies the table, without reading its checks."""
    with op.batch_alter_table("soil_reading", copy_from=_soil_reading(instead_of)) as reading:
        reading.drop_constraint(op.f("ck_soil_reading_kind"), type_="check")
        reading.create_check_constraint(op.f("ck_soil_reading_kind"), kinds)


def _soil_reading(kinds: str) -> sa.Table:
    return sa.Table(
        "soil_reading",
        sa.MetaData(),
        sa.Column("reading_key", BIG_KEY, nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("read_at", INSTANT, nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("is_evening", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("volumetric_water", sa.Double(), nullable=False),
        sa.Column("tension_kpa", sa.Double()),
        sa.Column("top_depth_m", sa.Double(), nullable=False),
        sa.Column("bottom_depth_m", sa.Double(), nullable=False),
        sa.Column("depletion_reading_mm", sa.Double(), nullable=False),
        sa.Column("weight_fraction", sa.Double(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint(kinds, name=op.f("ck_soil_reading_kind")),
        sa.CheckConstraint("weight_fraction BETWEEN 0 AND 1", name=op.f("ck_soil_reading_weight")),
        sa.CheckConstraint(
            "top_depth_m < bottom_depth_m", name=op.f("ck_soil_reading_depths_rise")
        ),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_soil_reading_block_key_block"
        ),
        sa.PrimaryKeyConstraint("reading_key", name="pk_soil_reading"),
        sa.UniqueConstraint("block_key", "read_at", name="uq_soil_reading_block_key_read_at"),
        sa.Index("ix_soil_reading_day_block_key", "day", "block_key"),
    )
