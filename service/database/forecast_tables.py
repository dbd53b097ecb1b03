"""The tables of forecasts: as they were issued, by lead, and what was observed."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Double,
    ForeignKey,
    Integer,
    LargeBinary,
    Table,
    Text,
)

from service.database.column_types import UtcInstant, metadata

forecast_issue = Table(
    "forecast_issue",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("issued_on", Date, primary_key=True),
    Column("source", Text, primary_key=True),
    Column("issued_at", UtcInstant, nullable=False),
    Column("fetched_at", UtcInstant, nullable=False),
    Column("latitude_deg", Double, nullable=False),
    Column("longitude_deg", Double, nullable=False),
    Column("elevation_m", Double, nullable=False),
    Column("document", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)
"""A whole forecast as it was issued, its days and fields as deflated JSON; kept for some weeks."""

forecast_lead = Table(
    "forecast_lead",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("issued_on", Date, primary_key=True),
    Column("source", Text, primary_key=True),
    Column("member_count", Integer, nullable=False),
    Column("numbers", LargeBinary, nullable=False),
    CheckConstraint("member_count >= 0", name="members_not_negative"),
    sqlite_with_rowid=False,
)
"""What was forecast for the days ahead; kept for good, hence packed: with a row for each day
and lead the archive took half as much again. ``numbers`` are little-endian 32-bit floats: for each
name of ``LEAD_NUMBERS`` in its order seven leads, NaN where not issued; names are only ever added
at the end."""

forecast_truth = Table(
    "forecast_truth",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("farm_key", BigInteger, primary_key=True, autoincrement=False),
    Column("rain_mm", Double),
    Column("et0_mm", Double),
    Column("tmax_c", Double),
    Column("rain_origin", Text, nullable=False),
    Column("et0_origin", Text, nullable=False),
    CheckConstraint("farm_key >= 0", name="farm_not_negative"),
    sqlite_with_rowid=False,
)
"""What was observed of a day; ``farm_key`` 0: at the place itself, else at that farm's gauge, which
nobody else is shown."""

forecast_place = Table(
    "forecast_place",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True, autoincrement=False),
    Column("latitude_deg", Double, nullable=False),
    Column("longitude_deg", Double, nullable=False),
    Column("elevation_m", Double, nullable=False),
    Column("first_day", Date, nullable=False),
    Column("has_moved", Boolean, nullable=False),
)
"""Where a site was when the archive of its forecasts began; a site that moves begins it again."""
