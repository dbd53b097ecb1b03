"""The table of visit notes."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, Index, Integer, Table, Text

from service.database.column_types import UtcInstant, metadata

visit_note = Table(
    "visit_note",
    metadata,
    Column("note_key", Integer, primary_key=True),
    Column("note_id", Text, nullable=False, unique=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False),
    Column("block_key", ForeignKey("block.block_key")),
    Column("day", Date, nullable=False),
    Column("visitor", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("corrects_key", ForeignKey("visit_note.note_key"), unique=True),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Index("ix_visit_note_farm_key_day", "farm_key", "day"),
)
"""What was seen on a visit, of a block or (without one) of the whole farm. Rows are only added: a
correction is a new row that names the one it stands for."""
