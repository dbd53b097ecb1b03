"""Add what the scheduler keeps: runs of jobs, ticks, breakers and raw answers of weather services.

Revision: 202611250900
Follows: 202611250800
Written: 2026-11-25 09:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611250900"
down_revision: str | Sequence[str] | None = "202611250800"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")


def upgrade() -> None:
    op.create_table(
        "job_run",
        sa.Column("run_key", sa.Text(), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("due_at", INSTANT, nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("held_until", INSTANT, nullable=False),
        sa.Column("attempt_count", sa.Integer(), nullable=False),
        sa.Column("changed_at", INSTANT, nullable=False),
        sa.Column("outcome", sa.Text()),
        sa.CheckConstraint(
            "state IN ('claimed', 'waiting', 'done')", name=op.f("ck_job_run_state")
        ),
        sa.CheckConstraint("attempt_count >= 1", name=op.f("ck_job_run_attempted")),
        sa.CheckConstraint(
            "(state = 'done') = (outcome IS NOT NULL)", name=op.f("ck_job_run_outcome_when_done")
        ),
        sa.PrimaryKeyConstraint("run_key", name="pk_job_run"),
    )
    op.create_table(
        "scheduler_tick",
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("first_tick_at", INSTANT, nullable=False),
        sa.Column("last_tick_at", INSTANT, nullable=False),
        sa.PrimaryKeyConstraint("owner", name="pk_scheduler_tick"),
    )
    op.create_table(
        "breaker",
        sa.Column("breaker_key", sa.Text(), nullable=False),
        sa.Column("failure_count", sa.Integer(), nullable=False),
        sa.Column("window_began_at", INSTANT),
        sa.Column("open_until", INSTANT),
        sa.Column("last_reason", sa.Text(), nullable=False),
        sa.CheckConstraint("failure_count >= 0", name=op.f("ck_breaker_failures_not_negative")),
        sa.PrimaryKeyConstraint("breaker_key", name="pk_breaker"),
    )
    op.create_table(
        "http_payload",
        sa.Column("url_digest", sa.Text(), nullable=False),
        sa.Column("body_digest", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("fetched_at", INSTANT, nullable=False),
        sa.Column("etag", sa.Text()),
        sa.Column("last_modified", sa.Text()),
        sa.Column("expires_at", INSTANT),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("url_digest", "body_digest", name="pk_http_payload"),
    )
    op.create_index("ix_http_payload_fetched_at", "http_payload", ["fetched_at"], unique=False)


def downgrade() -> None:
    op.drop_table("http_payload")
    op.drop_table("breaker")
    op.drop_table("scheduler_tick")
    op.drop_table("job_run")
