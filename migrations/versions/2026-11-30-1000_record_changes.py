"""Record who changed what, in a table that nothing can change or delete from.

Revision: 202611301000
Follows: 202611300930
Written: 2026-11-30 10:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301000"
down_revision: str | Sequence[str] | None = "202611300930"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")
REFUSAL = "the record of changes is only added to"


def upgrade() -> None:
    op.create_table(
        "audit_entry",
        sa.Column("entry_key", BIG_KEY, nullable=False),
        sa.Column("at", INSTANT, nullable=False),
        sa.Column("farm_id", sa.Text()),
        sa.Column("actor_kind", sa.Text(), nullable=False),
        sa.Column("actor_id", sa.Text(), nullable=False),
        sa.Column("actor_name", sa.Text(), nullable=False),
        sa.Column("entrance", sa.Text(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Text(), nullable=False),
        sa.Column("before", sa.Text()),
        sa.Column("after", sa.Text()),
        sa.PrimaryKeyConstraint("entry_key", name="pk_audit_entry"),
    )
    op.create_index("ix_audit_entry_farm_id_entry_key", "audit_entry", ["farm_id", "entry_key"])
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER audit_entry_no_{verb.lower()} BEFORE {verb} ON audit_entry"
                f" BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS"
        f" $$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER audit_entry_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON audit_entry"
        " FOR EACH STATEMENT EXECUTE FUNCTION refuse_audit_change()"
    )


def downgrade() -> None:
    op.drop_table("audit_entry")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION refuse_audit_change()")
