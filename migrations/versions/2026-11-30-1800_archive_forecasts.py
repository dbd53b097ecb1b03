"""Keep forecasts as they were issued, by lead, and what was observed of those days.

Revision: 202611301800
Follows: 202611301130
Written: 2026-11-30 18:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301800"
down_revision: str | Sequence[str] | None = "202611301130"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "forecast_issue",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("fetched_at", INSTANT, nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=False),
        sa.Column("document", sa.LargeBinary(), nullable=False),
        _to_site("forecast_issue"),
        sa.PrimaryKeyConstraint("site_key", "issued_on", "source", name="pk_forecast_issue"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forecast_lead",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("issued_on", sa.Date(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("member_count", sa.Integer(), nullable=False),
        sa.Column("numbers", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("member_count >= 0", name=op.f("ck_forecast_lead_members_not_negative")),
        _to_site("forecast_lead"),
        sa.PrimaryKeyConstraint("site_key", "issued_on", "source", name="pk_forecast_lead"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forecast_truth",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("farm_key", sa.BigInteger(), nullable=False),
        sa.Column("rain_mm", sa.Double()),
        sa.Column("et0_mm", sa.Double()),
        sa.Column("tmax_c", sa.Double()),
        sa.Column("rain_origin", sa.Text(), nullable=False),
        sa.Column("et0_origin", sa.Text(), nullable=False),
        sa.CheckConstraint("farm_key >= 0", name=op.f("ck_forecast_truth_farm_not_negative")),
        _to_site("forecast_truth"),
        sa.PrimaryKeyConstraint("site_key", "day", "farm_key", name="pk_forecast_truth"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "forecast_place",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=False),
        sa.Column("first_day", sa.Date(), nullable=False),
        sa.Column("has_moved", sa.Boolean(), nullable=False),
        _to_site("forecast_place"),
        sa.PrimaryKeyConstraint("site_key", name="pk_forecast_place"),
    )


def downgrade() -> None:
    for name in ("forecast_place", "forecast_truth", "forecast_lead", "forecast_issue"):
        op.drop_table(name)


def _to_site(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["site_key"], ["site.site_key"], name=f"fk_{table}_site_key_site"
    )
