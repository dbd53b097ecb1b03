"""Farms: what they consist of, day by day."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Double,
    ForeignKey,
    Integer,
    Table,
    Text,
    UniqueConstraint,
)

from service.database.column_types import UtcInstant, metadata, numbers
from service.records.farms import BLOCK_NUMBERS

farm = Table(
    "farm",
    metadata,
    Column("farm_key", Integer, primary_key=True),
    Column("farm_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("zone", Text, nullable=False),
    Column("issue_wall_min", Integer, nullable=False),
    Column("unit_system", Text, nullable=False),
    CheckConstraint("issue_wall_min BETWEEN 0 AND 1439", name="issue_within_day"),
    CheckConstraint("unit_system IN ('us', 'si')", name="unit_system"),
)

site = Table(
    "site",
    metadata,
    Column("site_key", Integer, primary_key=True),
    Column("site_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("latitude_deg", Double, nullable=False),
    Column("longitude_deg", Double, nullable=False),
    Column("elevation_m", Double, nullable=False),
    Column("zone", Text, nullable=False),
    Column("wind_height_m", Double, nullable=False),
    Column("krs_per_sqrt_c", Double, nullable=False),
    Column("normals", Text),
    CheckConstraint("latitude_deg BETWEEN -90 AND 90", name="latitude"),
    CheckConstraint("longitude_deg BETWEEN -180 AND 180", name="longitude"),
)

county = Table(
    "county",
    metadata,
    Column("county_key", Integer, primary_key=True),
    Column("county_code", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
)

county_boundary = Table(
    "county_boundary",
    metadata,
    Column("county_key", ForeignKey("county.county_key"), primary_key=True),
    Column("outline", Text, nullable=False),
    Column("label_longitude_deg", Double, nullable=False),
    Column("label_latitude_deg", Double, nullable=False),
    Column("label_half_height_deg", Double, nullable=False),
    Column("source", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""The outlines of one import: it replaces all rows. ``outline`` is a list of polygons as JSON."""

farm_site = Table(
    "farm_site",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), primary_key=True, index=True),
)
"""The sites named in a farm's file, including those no block draws on yet."""

supply = Table(
    "supply",
    metadata,
    Column("supply_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False),
    Column("supply_id", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("flow_l_per_h", Double, nullable=False),
    Column("windows", Text, nullable=False),
    Column("timer", Text),
    Column("weekly_no_water", Text),
    Column("retired_from", Date),
    UniqueConstraint("farm_key", "supply_id"),
    CheckConstraint("flow_l_per_h > 0", name="flow_positive"),
)

block = Table(
    "block",
    metadata,
    Column("block_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False, index=True),
    Column("block_id", Text, nullable=False, unique=True),
    Column("short_id", Text, nullable=False, index=True),
)
"""Only the identity of a block. ``short_id`` is the part of ``block_id`` after the dot."""

block_version = Table(
    "block_version",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("version", Integer, primary_key=True),
    Column("valid_from", Date, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("is_retired", Boolean, nullable=False),
    Column("supply_key", ForeignKey("supply.supply_key"), nullable=False),
    Column("site_key", ForeignKey("site.site_key"), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("crop_key", Text, nullable=False),
    Column("balance_start", Date),
    Column("curve", Text, nullable=False),
    Column("windows", Text, nullable=False),
    Column("no_water", Text, nullable=False),
    Column("origins", Text, nullable=False),
    *(Column(name, Text) for name in ("layout", "timer", "visits")),
    Column("digest", Text, nullable=False),
    *numbers(BLOCK_NUMBERS),
    CheckConstraint("version >= 1", name="version_positive"),
)
"""The definition of a block. In force on a day: the highest version whose ``valid_from`` is not
after it.

A version with ``is_retired`` retires the block and repeats the previous numbers.
"""
