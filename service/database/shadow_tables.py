"""What the rule that weighs the forecast would have done, for blocks that made no choice."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, LargeBinary, Table

from service.database.column_types import metadata

shadow_day = Table(
    "shadow_day",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("blocks", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)
"""A day on paper of all blocks of a farm that keep one; ``blocks`` is packed by the store."""

risk_notice = Table(
    "risk_notice",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True, autoincrement=False),
    Column("told_on", Date, nullable=False),
    Column("turns_on", Date, nullable=False),
)
"""Blocks whose growers were told that they will weigh the forecast from a day on."""
