"""Keep notes of visits to farms and blocks.

Revision: 202611300900
Follows: 202611300730
Written: 2026-11-30 09:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611300900"
down_revision: str | Sequence[str] | None = "202611300730"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "visit_note",
        sa.Column("note_key", sa.Integer(), nullable=False),
        sa.Column("note_id", sa.Text(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("block_key", sa.Integer()),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("visitor", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("corrects_key", sa.Integer()),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_visit_note_farm_key_farm"
        ),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_visit_note_block_key_block"
        ),
        sa.ForeignKeyConstraint(
            ["corrects_key"], ["visit_note.note_key"], name="fk_visit_note_corrects_key_visit_note"
        ),
        sa.PrimaryKeyConstraint("note_key", name="pk_visit_note"),
        sa.UniqueConstraint("note_id", name="uq_visit_note_note_id"),
        sa.UniqueConstraint("corrects_key", name="uq_visit_note_corrects_key"),
    )
    op.create_index("ix_visit_note_farm_key_day", "visit_note", ["farm_key", "day"])


def downgrade() -> None:
    op.drop_index("ix_visit_note_farm_key_day", table_name="visit_note")
    op.drop_table("visit_note")
