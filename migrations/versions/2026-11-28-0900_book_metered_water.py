"""Remember which metered volumes are booked, and ledger days that rest on them.

Volumes reported before stay what they were, a remark beside the minutes.

Revision: 202611280900
Follows: 202611251230
Written: 2026-11-28 09:00:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611280900"
down_revision: str | Sequence[str] | None = "202611251230"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

_BEFORE = "irrigation_origin IN (0, 1, 2)"
_AFTER = "irrigation_origin IN (0, 1, 2, 3)"


def upgrade() -> None:
    op.add_column(
        "run",
        sa.Column("is_volume_booked", sa.Boolean(), nullable=False, server_default=sa.false()),
    )
    _allow_origins(_AFTER, instead_of=_BEFORE)


def downgrade() -> None:
    op.execute(sa.text("UPDATE balance_day SET irrigation_origin = 1 WHERE irrigation_origin = 3"))
    _allow_origins(_BEFORE, instead_of=_AFTER)
    op.drop_column("run", "is_volume_booked")


def _allow_origins(origins: str, *, instead_of: str) -> None:
    """Change one check of ``balance_day``; SQLite copies the table, without reading its checks."""
    with op.batch_alter_table(
        "balance_day",
        copy_from=_balance_day(instead_of),
        table_kwargs={"sqlite_with_rowid": False},
    ) as ledger:
        ledger.drop_constraint(op.f("ck_balance_day_irrigation_origin"), type_="check")
        ledger.create_check_constraint(op.f("ck_balance_day_irrigation_origin"), origins)


_NUMBERS = (
    "et0_mm",
    "rain_mm",
    "rain_entering_mm",
    "rain_drainage_mm",
    "crop_coefficient",
    "crop_et_mm",
    "stress_ratio",
    "actual_crop_et_mm",
    "irrigation_gross_mm",
    "early_net_mm",
    "day_net_mm",
    "nonuniformity_loss_mm",
    "unrooted_loss_mm",
    "irrigation_drainage_mm",
    "resize_mm",
    "taw_mm",
    "raw_mm",
    "depletion_start_mm",
    "depletion_end_mm",
    "degree_day_sum_c_day",
    "correction_mm",
)


def _balance_day(origins: str) -> sa.Table:
    return sa.Table(
        "balance_day",
        sa.MetaData(),
        sa.Column("block_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("is_observed", sa.Boolean(), nullable=False),
        sa.Column("irrigation_origin", sa.SmallInteger(), nullable=False),
        sa.Column("flags", sa.BigInteger(), nullable=False),
        *(sa.Column(name, sa.Double()) for name in _NUMBERS),
        sa.CheckConstraint(origins, name=op.f("ck_balance_day_irrigation_origin")),
        sa.ForeignKeyConstraint(
            ["block_key"], ["block.block_key"], name="fk_balance_day_block_key_block"
        ),
        sa.PrimaryKeyConstraint("block_key", "day", name="pk_balance_day"),
        sqlite_with_rowid=False,
    )
