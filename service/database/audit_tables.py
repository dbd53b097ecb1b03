"""The table of changes. Rows are only ever added: triggers refuse to change or delete one."""

from __future__ import annotations

from sqlalchemy import Column, Index, Table, Text

from service.database.column_types import BigKey, UtcInstant, metadata

audit_entry = Table(
    "audit_entry",
    metadata,
    Column("entry_key", BigKey, primary_key=True),
    Column("at", UtcInstant, nullable=False),
    Column("farm_id", Text),
    Column("actor_kind", Text, nullable=False),
    Column("actor_id", Text, nullable=False),
    Column("actor_name", Text, nullable=False),
    Column("entrance", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("subject_id", Text, nullable=False),
    Column("before", Text),
    Column("after", Text),
    Index("ix_audit_entry_farm_id_entry_key", "farm_id", "entry_key"),
)
"""One change of one thing. ``farm_id`` as text, since a key may be bound to a farm that is still to
come, and NULL for what belongs to no farm. ``entry_key`` rises with time, because transactions that
write are one after the other. ``before`` and ``after`` are JSON of what differs.
"""
