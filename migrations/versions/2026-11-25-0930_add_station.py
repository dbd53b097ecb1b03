"""Add growers' stations: how each is set up, the files that came, what was measured when.

Revision: 202611250930
Follows: 202611250900
Written: 2026-11-25 09:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611250930"
down_revision: str | Sequence[str] | None = "202611250900"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "station",
        sa.Column("site_key", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("clock", sa.Text()),
        sa.Column("stamp", sa.Text()),
        sa.Column("wind_height_m", sa.Double()),
        sa.Column("radiation", sa.Text()),
        sa.Column("columns", sa.Text(), nullable=False),
        sa.CheckConstraint("stamp IN ('start', 'end')", name=op.f("ck_station_stamp")),
        sa.CheckConstraint("radiation IN ('w-m2', 'mj-m2')", name=op.f("ck_station_radiation")),
        sa.ForeignKeyConstraint(["site_key"], ["site.site_key"], name="fk_station_site_key_site"),
        sa.PrimaryKeyConstraint("site_key", name="pk_station"),
    )
    op.create_table(
        "station_file",
        sa.Column("file_key", sa.Integer(), nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_station_file_site_key_site"
        ),
        sa.PrimaryKeyConstraint("file_key", name="pk_station_file"),
        sa.UniqueConstraint("site_key", "sha256", name="uq_station_file_site_key_sha256"),
    )
    op.create_table(
        "station_interval",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("start_epoch_s", sa.BigInteger(), nullable=False),
        sa.Column("end_epoch_s", sa.BigInteger(), nullable=False),
        sa.Column("file_key", sa.Integer(), nullable=False),
        sa.Column("temperature_c", sa.Double()),
        sa.Column("tmax_c", sa.Double()),
        sa.Column("tmin_c", sa.Double()),
        sa.Column("tdew_c", sa.Double()),
        sa.Column("ea_kpa", sa.Double()),
        sa.Column("rhmean_pct", sa.Double()),
        sa.Column("rhmax_pct", sa.Double()),
        sa.Column("rhmin_pct", sa.Double()),
        sa.Column("wind_m_s", sa.Double()),
        sa.Column("rs_mj_m2", sa.Double()),
        sa.Column("rain_mm", sa.Double()),
        sa.CheckConstraint(
            "start_epoch_s < end_epoch_s", name=op.f("ck_station_interval_start_before_end")
        ),
        sa.ForeignKeyConstraint(
            ["file_key"],
            ["station_file.file_key"],
            name="fk_station_interval_file_key_station_file",
        ),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_station_interval_site_key_site"
        ),
        sa.PrimaryKeyConstraint(
            "site_key", "start_epoch_s", "end_epoch_s", name="pk_station_interval"
        ),
        sqlite_with_rowid=False,
    )
    op.create_index("ix_station_interval_file_key", "station_interval", ["file_key"], unique=False)


def downgrade() -> None:
    op.drop_table("station_interval")
    op.drop_table("station_file")
    op.drop_table("station")
