"""Keep the outlines of counties, for the map.

Revision: 202611301830
Follows: 202611301820
Written: 2026-11-30 18:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301830"
down_revision: str | Sequence[str] | None = "202611301820"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "county_boundary",
        sa.Column("county_key", sa.Integer(), nullable=False),
        sa.Column("outline", sa.Text(), nullable=False),
        sa.Column("label_longitude_deg", sa.Double(), nullable=False),
        sa.Column("label_latitude_deg", sa.Double(), nullable=False),
        sa.Column("label_half_height_deg", sa.Double(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["county_key"], ["county.county_key"], name="fk_county_boundary_county_key_county"
        ),
        sa.PrimaryKeyConstraint("county_key", name="pk_county_boundary"),
    )


def downgrade() -> None:
    op.drop_table("county_boundary")
