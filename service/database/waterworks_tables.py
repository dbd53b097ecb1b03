"""Pipes, water and fertilizer."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    Date,
    ForeignKey,
    Index,
    Table,
    Text,
)

from service.database.column_types import UtcInstant, metadata

catch_test = Table(
    "catch_test",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""Volumes caught at a block's emitters on a day."""

acid_treatment = Table(
    "acid_treatment",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""Acid that was injected into a block's water on a day."""

water_sample = Table(
    "water_sample",
    metadata,
    Column("supply_key", ForeignKey("supply.supply_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""A laboratory's report on a supply's water, by the day of the sample."""

flow_finding = Table(
    "flow_finding",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("verdict", Text, nullable=False),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""Flow-check findings of a block, by the day of the last metered run."""

fertiliser_product = Table(
    "fertiliser_product",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("product_id", Text, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""A product that a farm entered by its label."""

fertigation = Table(
    "fertigation",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Index("ix_fertigation_day", "day"),
)
"""Injection order of a block for a day."""
