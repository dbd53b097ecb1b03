"""Old plans and their weather packed as they differ from another one like them.

Revision: 202611301840
Follows: 202611301830
Written: 2026-11-30 18:40:00+00:00
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611301840"
down_revision: str | Sequence[str] | None = "202611301830"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

PACKED = (
    ("plan", "plan_key", "block_key", "numbers"),
    ("weather_basis", "basis_key", "site_key", "document"),
)


def upgrade() -> None:
    for table, key, owner, _ in PACKED:
        op.add_column(table, sa.Column("packed", sa.LargeBinary()))
        op.add_column(table, sa.Column("model_key", sa.BigInteger()))
        for name, column, rows in (
            (f"ix_{table}_whole", "day", "model_key IS NULL"),
            (f"ix_{table}_model", owner, f"{key} = model_key"),
        ):
            op.create_index(
                name,
                table,
                [column],
                sqlite_where=sa.text(rows),
                postgresql_where=sa.text(rows),
            )


def downgrade() -> None:
    for table, key, _, text in PACKED:
        _unpack(table, key, text)
        op.drop_index(f"ix_{table}_model", table)
        op.drop_index(f"ix_{table}_whole", table)
        op.drop_column(table, "model_key")
        op.drop_column(table, "packed")


def _unpack(table: str, key: str, text: str) -> None:
    connection = op.get_bind()
    rows = connection.execute(
        sa.text(
            f"SELECT t.{key}, t.packed, m.{text} FROM {table} t"
            f" JOIN {table} m ON m.{key} = t.model_key WHERE t.packed IS NOT NULL"
        )
    ).all()
    for row_key, packed, model in rows:
        unpacking = zlib.decompressobj(-zlib.MAX_WBITS, zdict=model.encode())
        whole = (unpacking.decompress(packed) + unpacking.flush()).decode()
        connection.execute(
            sa.text(f"UPDATE {table} SET {text} = :whole WHERE {key} = :key"),
            {"whole": whole, "key": row_key},
        )
