"""Create the tables: farms and their blocks, weather, the balance, plans and what was reported.

Revision: 202611250800
Follows: nothing
Written: 2026-11-25 08:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611250800"
down_revision: str | Sequence[str] | None = None
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite numbers the rows of INTEGER keys only, and would drop the offset of a time.
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "farm",
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("farm_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("issue_wall_min", sa.Integer(), nullable=False),
        sa.Column("unit_system", sa.Text(), nullable=False),
        sa.CheckConstraint("unit_system IN ('us', 'si')", name=op.f("ck_farm_unit_system")),
        sa.CheckConstraint(
            "issue_wall_min BETWEEN 0 AND 1439", name=op.f("ck_farm_issue_within_day")
        ),
        sa.PrimaryKeyConstraint("farm_key", name="pk_farm"),
        sa.UniqueConstraint("farm_id", name="uq_farm_farm_id"),
    )
    op.create_table(
        "site",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("latitude_deg", sa.Double(), nullable=False),
        sa.Column("longitude_deg", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=False),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("wind_height_m", sa.Double(), nullable=False),
        sa.Column("krs_per_sqrt_c", sa.Double(), nullable=False),
        sa.Column("normals", sa.Text()),
        sa.CheckConstraint("latitude_deg BETWEEN -90 AND 90", name=op.f("ck_site_latitude")),
        sa.CheckConstraint("longitude_deg BETWEEN -180 AND 180", name=op.f("ck_site_longitude")),
        sa.PrimaryKeyConstraint("site_key", name="pk_site"),
        sa.UniqueConstraint("site_id", name="uq_site_site_id"),
    )
    op.create_table(
        "block",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("block_id", sa.Text(), nullable=False),
        sa.Column("short_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name="fk_block_farm_key_farm"),
        sa.PrimaryKeyConstraint("block_key", name="pk_block"),
        sa.UniqueConstraint("block_id", name="uq_block_block_id"),
    )
    op.create_index("ix_block_farm_key", "block", ["farm_key"], unique=False)
    op.create_index("ix_block_short_id", "block", ["short_id"], unique=False)
    op.create_table(
        "county",
        sa.Column("county_key", sa.Integer(), nullable=False),
        sa.Column("county_code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["site_key"], ["site.site_key"], name="fk_county_site_key_site"),
        sa.PrimaryKeyConstraint("county_key", name="pk_county"),
        sa.UniqueConstraint("county_code", name="uq_county_county_code"),
    )
    op.create_table(
        "rain_gauge_reading",
        sa.Column("reading_key", BIG_KEY, nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("read_at", INSTANT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("covers_from", INSTANT, nullable=False),
        sa.Column("rain_mm", sa.Double(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("superseded_at", INSTANT),
        sa.CheckConstraint(
            "kind IN ('measured', 'trace', 'none', 'multi-day')",
            name=op.f("ck_rain_gauge_reading_kind"),
        ),
        sa.CheckConstraint(
            "covers_from <= read_at", name=op.f("ck_rain_gauge_reading_cover_before_reading")
        ),
        sa.CheckConstraint("rain_mm >= 0", name=op.f("ck_rain_gauge_reading_rain_not_negative")),
        sa.CheckConstraint("version >= 1", name=op.f("ck_rain_gauge_reading_version_positive")),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_rain_gauge_reading_site_key_site"
        ),
        sa.PrimaryKeyConstraint("reading_key", name="pk_rain_gauge_reading"),
        sa.UniqueConstraint(
            "site_key", "read_at", "version", name="uq_rain_gauge_reading_site_key_read_at_version"
        ),
    )
    op.create_index(
        "ix_rain_gauge_reading_in_force",
        "rain_gauge_reading",
        ["site_key", "read_at"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )
    op.create_table(
        "supply",
        sa.Column("supply_key", sa.Integer(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("supply_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("flow_l_per_h", sa.Double(), nullable=False),
        sa.Column("windows", sa.Text(), nullable=False),
        sa.Column("retired_from", sa.Date()),
        sa.CheckConstraint("flow_l_per_h > 0", name=op.f("ck_supply_flow_positive")),
        sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name="fk_supply_farm_key_farm"),
        sa.PrimaryKeyConstraint("supply_key", name="pk_supply"),
        sa.UniqueConstraint("farm_key", "supply_id", name="uq_supply_farm_key_supply_id"),
    )
    op.create_table(
        "weather_basis",
        sa.Column("basis_key", BIG_KEY, nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_weather_basis_site_key_site"
        ),
        sa.PrimaryKeyConstraint("basis_key", name="pk_weather_basis"),
        sa.UniqueConstraint(
            "site_key", "day", "digest", name="uq_weather_basis_site_key_day_digest"
        ),
    )
    op.create_table(
        "weather_day",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("fetched_at", INSTANT, nullable=False),
        sa.Column("wind_height_m", sa.Double()),
        sa.Column("field_notes", sa.Text()),
        sa.Column("tmax_c", sa.Double()),
        sa.Column("tmin_c", sa.Double()),
        sa.Column("tdew_c", sa.Double()),
        sa.Column("ea_kpa", sa.Double()),
        sa.Column("rhmax_pct", sa.Double()),
        sa.Column("rhmin_pct", sa.Double()),
        sa.Column("rhmean_pct", sa.Double()),
        sa.Column("wind_m_s", sa.Double()),
        sa.Column("rs_mj_m2", sa.Double()),
        sa.Column("sunshine_h", sa.Double()),
        sa.Column("rain_mm", sa.Double()),
        sa.Column("rain_probability_fraction", sa.Double()),
        sa.CheckConstraint(
            "kind IN ('observed', 'analysis', 'forecast')", name=op.f("ck_weather_day_kind")
        ),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_weather_day_site_key_site"
        ),
        sa.PrimaryKeyConstraint("site_key", "day", "source", "kind", name="pk_weather_day"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "balance_day",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("is_observed", sa.Boolean(), nullable=False),
        sa.Column("irrigation_origin", sa.SmallInteger(), nullable=False),
        sa.Column("flags", sa.BigInteger(), nullable=False),
        sa.Column("et0_mm", sa.Double()),
        sa.Column("rain_mm", sa.Double()),
        sa.Column("rain_entering_mm", sa.Double()),
        sa.Column("rain_drainage_mm", sa.Double()),
        sa.Column("crop_coefficient", sa.Double()),
        sa.Column("crop_et_mm", sa.Double()),
        sa.Column("stress_ratio", sa.Double()),
        sa.Column("actual_crop_et_mm", sa.Double()),
        sa.Column("irrigation_gross_mm", sa.Double()),
        sa.Column("early_net_mm", sa.Double()),
        sa.Column("day_net_mm", sa.Double()),
        sa.Column("nonuniformity_loss_mm", sa.Double()),
        sa.Column("unrooted_loss_mm", sa.Double()),
        sa.Column("irrigation_drainage_mm", sa.Double()),
        sa.Column("resize_mm", sa.Double()),
        sa.Column("taw_mm", sa.Double()),
        sa.Column("raw_mm", sa.Double()),
        sa.Column("depletion_start_mm", sa.Double()),
        sa.Column("depletion_end_mm", sa.Double()),
        sa.Column("degree_day_sum_c_day", sa.Double()),
        sa.CheckConstraint(
            "irrigation_origin IN (0, 1, 2)", name=op.f("ck_balance_day_irrigation_origin")
        ),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_balance_day_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", "day", name="pk_balance_day"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "balance_state",
        sa.Column("block_key", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("settled_day", sa.Date()),
        sa.Column("depletion_mm", sa.Double()),
        sa.Column("degree_day_sum_c_day", sa.Double()),
        sa.Column("flags", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_balance_state_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", name="pk_balance_state"),
    )
    op.create_table(
        "block_version",
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("is_retired", sa.Boolean(), nullable=False),
        sa.Column("supply_key", sa.Integer(), nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("crop_key", sa.Text(), nullable=False),
        sa.Column("balance_start", sa.Date()),
        sa.Column("curve", sa.Text(), nullable=False),
        sa.Column("windows", sa.Text(), nullable=False),
        sa.Column("no_water", sa.Text(), nullable=False),
        sa.Column("origins", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("area_m2", sa.Double()),
        sa.Column("row_spacing_m", sa.Double()),
        sa.Column("emitter_spacing_m", sa.Double()),
        sa.Column("laterals_per_row_count", sa.Double()),
        sa.Column("emitter_flow_l_per_h", sa.Double()),
        sa.Column("emission_uniformity_pct", sa.Double()),
        sa.Column("fill_time_min", sa.Double()),
        sa.Column("longest_pulse_min", sa.Double()),
        sa.Column("daily_maximum_min", sa.Double()),
        sa.Column("off_ratio", sa.Double()),
        sa.Column("valve_gap_s", sa.Double()),
        sa.Column("leaching_fraction", sa.Double()),
        sa.Column("transmission_ratio", sa.Double()),
        sa.Column("trigger_fraction", sa.Double()),
        sa.Column("rain_room_fraction", sa.Double()),
        sa.Column("field_capacity", sa.Double()),
        sa.Column("wilting_point", sa.Double()),
        sa.Column("saturated_conductivity_mm_per_h", sa.Double()),
        sa.Column("texture_group", sa.Double()),
        sa.Column("curve_number", sa.Double()),
        sa.Column("wetted_fraction", sa.Double()),
        sa.Column("root_depth_m", sa.Double()),
        sa.Column("root_share_of_wetted", sa.Double()),
        sa.Column("canopy_cover_fraction", sa.Double()),
        sa.Column("canopy_height_m", sa.Double()),
        sa.Column("planting_year", sa.Double()),
        sa.Column("years_to_full_size", sa.Double()),
        sa.Column("root_depth_is_scaled", sa.Double()),
        sa.Column("root_share_is_scaled", sa.Double()),
        sa.Column("canopy_is_scaled", sa.Double()),
        sa.Column("mulch_cover_fraction", sa.Double()),
        sa.Column("mulch_rain_pass_fraction", sa.Double()),
        sa.Column("kc_initial", sa.Double()),
        sa.Column("kc_mid", sa.Double()),
        sa.Column("kc_end", sa.Double()),
        sa.Column("kc_off_season", sa.Double()),
        sa.Column("table_height_m", sa.Double()),
        sa.Column("reference_canopy_ratio", sa.Double()),
        sa.Column("depletion_fraction", sa.Double()),
        sa.Column("initial_depletion_mm", sa.Double()),
        sa.CheckConstraint("version >= 1", name=op.f("ck_block_version_version_positive")),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_block_version_block_key_block"
        ),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_block_version_site_key_site"
        ),
        sa.ForeignKeyConstraint(
            ["supply_key"], ["supply.supply_key"], name="fk_block_version_supply_key_supply"
        ),
        sa.PrimaryKeyConstraint("block_key", "version", name="pk_block_version"),
    )
    op.create_index("ix_block_version_site_key", "block_version", ["site_key"], unique=False)
    op.create_table(
        "plan",
        sa.Column("plan_key", BIG_KEY, nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("issued_at", INSTANT, nullable=False),
        sa.Column("superseded_at", INSTANT),
        sa.Column("planned_min", sa.Integer(), nullable=False),
        sa.Column("early_min", sa.Integer(), nullable=False),
        sa.Column("ready_min", sa.Double()),
        sa.Column("gross_mm", sa.Double()),
        sa.Column("net_mm", sa.Double()),
        sa.Column("pulses", sa.Text(), nullable=False),
        sa.Column("numbers", sa.Text(), nullable=False),
        sa.Column("basis_key", BIG_KEY, nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "status IN ('water', 'rest', 'no-weather')", name=op.f("ck_plan_status")
        ),
        sa.CheckConstraint(
            "early_min BETWEEN 0 AND planned_min", name=op.f("ck_plan_early_within_planned")
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_plan_version_positive")),
        sa.ForeignKeyConstraint(
            ["basis_key"], ["weather_basis.basis_key"], name="fk_plan_basis_key_weather_basis"
        ),
        sa.ForeignKeyConstraint(["block_key"], ["block.block_key"], name="fk_plan_block_key_block"),
        sa.PrimaryKeyConstraint("plan_key", name="pk_plan"),
        sa.UniqueConstraint("block_key", "day", "version", name="uq_plan_block_key_day_version"),
    )
    op.create_index(
        "ix_plan_in_force",
        "plan",
        ["day", "block_key"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )
    op.create_table(
        "run",
        sa.Column("run_key", BIG_KEY, nullable=False),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("started_at", INSTANT, nullable=False),
        sa.Column("start_min", sa.Integer(), nullable=False),
        sa.Column("duration_min", sa.Double(), nullable=False),
        sa.Column("volume_l", sa.Double()),
        sa.Column("is_early", sa.Boolean(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.CheckConstraint("duration_min >= 0", name=op.f("ck_run_duration_not_negative")),
        sa.ForeignKeyConstraint(["block_key"], ["block.block_key"], name="fk_run_block_key_block"),
        sa.PrimaryKeyConstraint("run_key", name="pk_run"),
        sa.UniqueConstraint("block_key", "started_at", name="uq_run_block_key_started_at"),
    )
    op.create_index("ix_run_day_block_key", "run", ["day", "block_key"], unique=False)
    # ### end Alembic commands ###


def downgrade() -> None:
    op.drop_table("run")
    op.drop_table("plan")
    op.drop_table("block_version")
    op.drop_table("balance_state")
    op.drop_table("balance_day")
    op.drop_table("weather_day")
    op.drop_table("weather_basis")
    op.drop_table("supply")
    op.drop_table("rain_gauge_reading")
    op.drop_table("county")
    op.drop_table("block")
    op.drop_table("site")
    op.drop_table("farm")
