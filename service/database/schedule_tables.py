"""What the scheduler has done, and what has changed."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Integer,
    Table,
    Text,
)

from service.database.column_types import UtcInstant, metadata

job_run = Table(
    "job_run",
    metadata,
    Column("run_key", Text, primary_key=True),
    Column("job", Text, nullable=False),
    Column("due_at", UtcInstant, nullable=False),
    Column("state", Text, nullable=False),
    Column("owner", Text, nullable=False),
    Column("held_until", UtcInstant, nullable=False),
    Column("attempt_count", Integer, nullable=False),
    Column("changed_at", UtcInstant, nullable=False),
    Column("outcome", Text),
    CheckConstraint("state IN ('claimed', 'waiting', 'done')", name="state"),
    CheckConstraint("attempt_count >= 1", name="attempted"),
    CheckConstraint("(state = 'done') = (outcome IS NOT NULL)", name="outcome_when_done"),
)
"""One row per run key, created when it is first claimed; nobody may claim it before ``held_until``.

``claimed``: ``owner`` is working on it, or died doing so. ``waiting``: it failed and will be
retried. ``done``: finished for good.
"""

scheduler_tick = Table(
    "scheduler_tick",
    metadata,
    Column("owner", Text, primary_key=True),
    Column("first_tick_at", UtcInstant, nullable=False),
    Column("last_tick_at", UtcInstant, nullable=False),
)
"""When each scheduler process last looked at what is due; a watchdog reads it."""

change_mark = Table(
    "change_mark",
    metadata,
    Column("topic", Text, primary_key=True),
    Column("change_count", BigInteger, nullable=False),
)
"""Change counts by topic; every process checks here for changes."""
