"""Part plans and balances by month on PostgreSQL, so that an evening touches few pages of an index.

What is there already becomes one part, as it stands, up to the end of the last month in it; months
after that get parts of their own from the service. SQLite keeps its tables whole.

Revision: 202612010310
Follows: 202611302230
Written: 2026-12-01 03:10:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

from alembic import op

revision: str = "202612010310"
down_revision: str | Sequence[str] | None = "202611302230"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

PLAN_INDEXES = (
    "CREATE UNIQUE INDEX ix_plan_in_force ON plan (day, block_key) WHERE superseded_at IS NULL",
    "CREATE INDEX ix_plan_whole ON plan (day) WHERE model_key IS NULL",
    "CREATE INDEX ix_plan_model ON plan (block_key) WHERE plan_key = model_key",
)
FOREIGN_KEYS = {
    "plan": (
        "CONSTRAINT fk_plan_block_key_block FOREIGN KEY (block_key) REFERENCES block",
        "CONSTRAINT fk_plan_basis_key_weather_basis FOREIGN KEY (basis_key)"
        " REFERENCES weather_basis",
    ),
    "balance_day": (
        "CONSTRAINT fk_balance_day_block_key_block FOREIGN KEY (block_key) REFERENCES block",
    ),
}
WHOLE_KEYS = {"plan": "plan_key", "balance_day": "block_key, day"}
PARTED_KEYS = {"plan": "plan_key, day", "balance_day": "block_key, day"}
UNIQUE = "CONSTRAINT uq_plan_block_key_day_version UNIQUE (block_key, day, version)"
INDEXES = {
    "plan": (
        "pk_plan",
        "uq_plan_block_key_day_version",
        "ix_plan_in_force",
        "ix_plan_whole",
        "ix_plan_model",
    ),
    "balance_day": ("pk_balance_day",),
}


def upgrade() -> None:
    if op.get_context().dialect.name != "postgresql":
        return
    for table, key in PARTED_KEYS.items():
        until = f"{table}_until"
        _set_aside(table, until)
        if key != WHOLE_KEYS[table]:
            op.execute(f"ALTER TABLE {until} DROP CONSTRAINT pk_{until}")
        op.execute(
            f"CREATE TABLE {table} (LIKE {until} INCLUDING DEFAULTS INCLUDING CONSTRAINTS"
            " INCLUDING COMPRESSION INCLUDING STORAGE) PARTITION BY RANGE (day)"
        )
        _constrain(table, key)
        # The bound is that of the rows, which SQL alone can know where no database is at hand.
        op.execute(
            f"DO $$ BEGIN EXECUTE format('ALTER TABLE {table} ATTACH PARTITION {until}"
            " FOR VALUES FROM (MINVALUE) TO (%L)', (SELECT date_trunc('month', greatest("
            f"max(day), current_date)) + interval '1 month' FROM {until})::date); END $$"
        )
        op.execute(f"CREATE TABLE {table}_beyond PARTITION OF {table} DEFAULT")


def downgrade() -> None:
    if op.get_context().dialect.name != "postgresql":
        return
    for table, key in WHOLE_KEYS.items():
        parted = f"{table}_parted"
        _set_aside(table, parted)
        op.execute(
            f"CREATE TABLE {table} (LIKE {parted} INCLUDING DEFAULTS INCLUDING CONSTRAINTS"
            " INCLUDING COMPRESSION INCLUDING STORAGE)"
        )
        op.execute(f"INSERT INTO {table} SELECT * FROM {parted}")
        _constrain(table, key)
        op.execute(f"DROP TABLE {parted}")


def _set_aside(table: str, name: str) -> None:
    """Rename a table and what is named after it."""
    op.execute(f"ALTER TABLE {table} RENAME TO {name}")
    for index in INDEXES[table]:
        op.execute(f"ALTER INDEX {index} RENAME TO {index.replace(table, name, 1)}")


def _constrain(table: str, key: str) -> None:
    """Give a new table its keys and indexes, and the numbers of its rows."""
    for constraint in (
        f"CONSTRAINT pk_{table} PRIMARY KEY ({key})",
        *((UNIQUE,) if table == "plan" else ()),
        *FOREIGN_KEYS[table],
    ):
        op.execute(f"ALTER TABLE {table} ADD {constraint}")
    if table == "plan":
        for statement in PLAN_INDEXES:
            op.execute(statement)
        op.execute("ALTER SEQUENCE plan_plan_key_seq OWNED BY plan.plan_key")
