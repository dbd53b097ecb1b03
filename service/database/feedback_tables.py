"""What people report from the field."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Double,
    ForeignKey,
    Index,
    Integer,
    Table,
    Text,
    UniqueConstraint,
    false,
    text,
)

from service.database.column_types import BigKey, UtcInstant, metadata

run = Table(
    "run",
    metadata,
    Column("run_key", BigKey, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False),
    Column("day", Date, nullable=False),
    Column("started_at", UtcInstant, nullable=False),
    Column("start_min", Integer, nullable=False),
    Column("duration_min", Double, nullable=False),
    Column("volume_l", Double),
    Column("flowing_min", Double),
    Column("is_early", Boolean, nullable=False),
    Column("is_volume_booked", Boolean, nullable=False, server_default=false()),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("change_count", BigInteger, nullable=False, server_default=text("0")),
    Column("undone_at", UtcInstant),
    UniqueConstraint("block_key", "started_at"),
    CheckConstraint("duration_min >= 0", name="duration_not_negative"),
    Index("ix_run_day_block_key", "day", "block_key"),
    Index("ix_run_change_count_run_key", "change_count", "run_key"),
)
"""``change_count``: the mark of ``runs`` at the run's last change. ``undone_at``: since when it
counts as never reported; the row stays, so that copies elsewhere learn of it.
"""

soil_reading = Table(
    "soil_reading",
    metadata,
    Column("reading_key", BigKey, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False),
    Column("read_at", UtcInstant, nullable=False),
    Column("day", Date, nullable=False),
    Column("is_evening", Boolean, nullable=False),
    Column("kind", Text, nullable=False),
    Column("volumetric_water", Double, nullable=False),
    Column("tension_kpa", Double),
    Column("top_depth_m", Double, nullable=False),
    Column("bottom_depth_m", Double, nullable=False),
    Column("depletion_reading_mm", Double, nullable=False),
    Column("weight_fraction", Double, nullable=False),
    Column("note", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    UniqueConstraint("block_key", "read_at"),
    CheckConstraint("kind IN ('volumetric', 'tension', 'estimate')", name="kind"),
    CheckConstraint("weight_fraction BETWEEN 0 AND 1", name="weight"),
    CheckConstraint("top_depth_m < bottom_depth_m", name="depths_rise"),
    Index("ix_soil_reading_day_block_key", "day", "block_key"),
)
"""A soil reading with the depletion and the weight computed when it arrived."""

pause = Table(
    "pause",
    metadata,
    Column("pause_key", BigKey, primary_key=True),
    Column("pause_id", Text, nullable=False, unique=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False, index=True),
    Column("starts_local", Text, nullable=False),
    Column("ends_local", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("cancelled_at", UtcInstant),
    CheckConstraint("starts_local < ends_local", name="starts_before_end"),
)
"""Pauses, in addition to the no-water periods of a block's version; wall-clock times in the
block's zone.
"""
