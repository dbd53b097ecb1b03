"""The table of leaf, petiole and soil tests."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, Table, Text

from service.database.column_types import UtcInstant, metadata

nutrient_test = Table(
    "nutrient_test",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("tissue", Text, primary_key=True),
    Column("stage", Text, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""A laboratory's report on a block, by the day of the sample; tissue and stage tell leaf samples
of one day apart, since the same number is enough in one and starvation in another."""
