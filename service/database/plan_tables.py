"""Ledgers and plans of blocks, and the programs made of them."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from service.database.column_types import BigKey, UtcInstant, metadata, numbers
from service.records.ledger import LEDGER_NUMBERS

balance_day = Table(
    "balance_day",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("is_observed", Boolean, nullable=False),
    Column("irrigation_origin", SmallInteger, nullable=False),
    Column("flags", BigInteger, nullable=False),
    *numbers(LEDGER_NUMBERS),
    CheckConstraint("irrigation_origin IN (0, 1, 2, 3)", name="irrigation_origin"),
    sqlite_with_rowid=False,
    postgresql_partition_by="RANGE (day)",
)
"""One ledger day. ``irrigation_origin``: 0 none, 1 reported runs, 2 plan assumed carried out, 3
metered runs.
"""

balance_state = Table(
    "balance_state",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True, autoincrement=False),
    Column("settled_day", Date),
    *numbers(("depletion_mm", "degree_day_sum_c_day", "alley_store_mm")),
    Column("flags", BigInteger, nullable=False),
)
"""Where the ledger is settled; no row, or no day in it: nothing is settled yet."""

plan = Table(
    "plan",
    metadata,
    Column("plan_key", BigKey, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False),
    Column("day", Date, nullable=False),
    Column("version", Integer, nullable=False),
    Column("status", Text, nullable=False),
    Column("issued_at", UtcInstant, nullable=False),
    Column("superseded_at", UtcInstant),
    Column("planned_min", Integer, nullable=False),
    Column("early_min", Integer, nullable=False),
    Column("ready_min", Double),
    Column("gross_mm", Double),
    Column("net_mm", Double),
    Column("pulses", Text, nullable=False),
    Column("numbers", Text, nullable=False),
    Column("basis_key", ForeignKey("weather_basis.basis_key"), nullable=False),
    Column("digest", Text, nullable=False),
    Column("packed", LargeBinary),
    Column("model_key", BigInteger),
    UniqueConstraint("block_key", "day", "version"),
    CheckConstraint("version >= 1", name="version_positive"),
    CheckConstraint("status IN ('water', 'rest', 'no-weather')", name="status"),
    CheckConstraint("early_min BETWEEN 0 AND planned_min", name="early_within_planned"),
    postgresql_partition_by="RANGE (day)",
)
"""A plan version. Once old, ``numbers`` is empty and ``packed`` is what they add to those of the
plan ``model_key`` (``packing.py``). On PostgreSQL the day is part of the key, as a table in parts
needs it (``month_parts.py``); the number alone is unique all the same.
"""
_IS_WHOLE = text("model_key IS NULL")
_IS_MODEL = text("plan_key = model_key")
Index(
    "ix_plan_in_force",
    plan.c.day,
    plan.c.block_key,
    unique=True,
    sqlite_where=text("superseded_at IS NULL"),
    postgresql_where=text("superseded_at IS NULL"),
)

Index("ix_plan_whole", plan.c.day, sqlite_where=_IS_WHOLE, postgresql_where=_IS_WHOLE)
Index("ix_plan_model", plan.c.block_key, sqlite_where=_IS_MODEL, postgresql_where=_IS_MODEL)

plan_text = Table(
    "plan_text",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("text", Text, nullable=False),
)
"""Rendered current plans, for the days that are read again and again; any other plan is re-rendered
from ``plan``.
"""

controller = Table(
    "controller",
    metadata,
    Column("controller_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False, index=True),
    Column("controller_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("policy", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("retired_at", UtcInstant),
    Column("change_count", BigInteger, nullable=False),
    CheckConstraint("policy IN ('fallback', 'stop')", name="policy"),
)
"""A controller in the field. ``change_count``: the mark of ``programs`` at its last change."""

controller_poll = Table(
    "controller_poll",
    metadata,
    Column(
        "controller_key",
        ForeignKey("controller.controller_key"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("polled_at", UtcInstant, nullable=False),
)
"""When a controller asked for its program last, to within a few minutes."""

controller_channel = Table(
    "controller_channel",
    metadata,
    Column("controller_key", ForeignKey("controller.controller_key"), primary_key=True),
    Column("channel", Integer, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False, index=True),
    Column("fallback", Text, nullable=False),
    CheckConstraint("channel >= 1", name="channel_positive"),
    sqlite_with_rowid=False,
)
"""Which block a channel opens; ``fallback`` is JSON ``[[start_wall_min, duration_min], ...]``."""

controller_program = Table(
    "controller_program",
    metadata,
    Column(
        "controller_key",
        ForeignKey("controller.controller_key"),
        primary_key=True,
        autoincrement=False,
    ),
    Column("version", Integer, nullable=False),
    Column("issued_at", UtcInstant, nullable=False),
    Column("digest", Text, nullable=False),
    Column("json_text", Text, nullable=False),
    Column("csv_text", Text, nullable=False),
    Column("change_count", BigInteger, nullable=False, index=True),
    CheckConstraint("version >= 1", name="version_positive"),
)
"""The current program of each controller, as sent."""

timer_program = Table(
    "timer_program",
    metadata,
    Column("program_key", BigKey, primary_key=True),
    Column("program_id", Text, nullable=False, unique=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False, index=True),
    Column("first_day", Date, nullable=False),
    Column("day_rule", Integer, nullable=False),
    Column("day_mask", Integer, nullable=False),
    Column("start_count", Integer, nullable=False),
    Column("first_start_min", Integer, nullable=False),
    Column("spacing_min", Integer, nullable=False),
    Column("run_min", Double, nullable=False),
    Column("offered_at", UtcInstant, nullable=False),
    Column("is_early", Boolean, nullable=False),
    Column("excess_mm", Double),
    Column("drainage_mm", Double),
    Column("depletion_end_mm", Double),
    Column("set_from", Date),
    Column("set_at", UtcInstant),
    Column("reporter", Text, nullable=False),
    Column("normal_day_count", Integer),
    Column("earlier_year_count", Integer),
)
"""Programs worked out for timers. In force on a day: of those with a ``set_from`` not after it the
last; the others were offered and not set.
"""
