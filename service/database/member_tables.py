"""Members of ensembles, and what their services were asked for."""

from __future__ import annotations

from sqlalchemy import (
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

forecast_members = Table(
    "forecast_members",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("model", Text, primary_key=True),
    Column("first_day", Date, primary_key=True),
    Column("fetched_at", UtcInstant, nullable=False),
    Column("first_seen_at", UtcInstant, nullable=False),
    Column("given_count", Integer, nullable=False),
    Column("hole_count", Integer, nullable=False),
    Column("frozen_count", Integer, nullable=False),
    Column("member_count", Integer, nullable=False),
    Column("day_count", Integer, nullable=False),
    Column("courses", LargeBinary, nullable=False),
    Column("correction", LargeBinary),
    CheckConstraint("member_count >= 0 AND day_count >= 0", name="counts_not_negative"),
    sqlite_with_rowid=False,
)
"""Rain and reference ET of the members of a model from a day on, as issued for the evening before.

``courses`` is packed by the store; ``first_seen_at`` is when the same courses came first."""

source_weight = Table(
    "source_weight",
    metadata,
    Column("source", Text, primary_key=True),
    Column("hour", UtcInstant, primary_key=True),
    Column("weight", Double, nullable=False),
)
"""What the requests to a source weighed in an hour, shared by all processes."""
