"""The tables of rain gauges read by hand: the readings, and the rain of a farm's own days."""

from __future__ import annotations

from sqlalchemy import (
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
    text,
)

from service.database.column_types import BigKey, UtcInstant, metadata

rain_gauge_reading = Table(
    "rain_gauge_reading",
    metadata,
    Column("reading_key", BigKey, primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
    Column("farm_key", ForeignKey("farm.farm_key")),
    Column("read_at", UtcInstant, nullable=False),
    Column("version", Integer, nullable=False),
    Column("covers_from", UtcInstant, nullable=False),
    Column("rain_mm", Double, nullable=False),
    Column("kind", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("superseded_at", UtcInstant),
    UniqueConstraint("site_key", "farm_key", "read_at", "version"),
    CheckConstraint("version >= 1", name="version_positive"),
    CheckConstraint("rain_mm >= 0", name="rain_not_negative"),
    CheckConstraint("kind IN ('measured', 'trace', 'none', 'multi-day')", name="kind"),
    CheckConstraint("covers_from <= read_at", name="cover_before_reading"),
)
"""A reading of the gauge of a farm, or (no farm) of the place itself."""
Index(
    "ix_rain_gauge_reading_of_place",
    rain_gauge_reading.c.site_key,
    rain_gauge_reading.c.read_at,
    unique=True,
    sqlite_where=text("superseded_at IS NULL AND farm_key IS NULL"),
    postgresql_where=text("superseded_at IS NULL AND farm_key IS NULL"),
)
Index(
    "ix_rain_gauge_reading_of_farm",
    rain_gauge_reading.c.site_key,
    rain_gauge_reading.c.farm_key,
    rain_gauge_reading.c.read_at,
    unique=True,
    sqlite_where=text("superseded_at IS NULL"),
    postgresql_where=text("superseded_at IS NULL"),
)

farm_rain_day = Table(
    "farm_rain_day",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("rain_mm", Double),
    Column("note", Text),
    Column("recorded_at", UtcInstant, nullable=False),
    sqlite_with_rowid=False,
)
"""The rain of a day at a place by a farm's own gauge. It is kept beside ``weather_day``, so that
what reads the record of a place cannot come upon it. NULL: the reading was taken back."""
