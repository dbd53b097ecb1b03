"""Let a rain gauge belong to the farm that reads it, apart from the record of the place.

Readings at a site that one farm alone names or draws on, or ever drew on, become that farm's. Those
at a site of several farms, of none, or of a county stay the record of the place, since nothing says
whose gauge they were read at.

Revision: 202611300730
Follows: 202611300710
Written: 2026-11-30 07:30:00+00:00
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa
from alembic import op

revision: str = "202611300730"
down_revision: str | Sequence[str] | None = "202611300710"
branch_labels: str | Sequence[str] | None = None
depends_on: str | Sequence[str] | None = None

# SQLite would drop the offset of a time; it numbers rows of INTEGER keys only.
INSTANT = sa.DateTime(timezone=True).with_variant(sa.String(27), "sqlite")
BIG_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
IN_FORCE = "superseded_at IS NULL"
OF_PLACE = f"{IN_FORCE} AND farm_key IS NULL"
FORMER_UNIQUE = "uq_rain_gauge_reading_site_key_read_at_version"
UNIQUE = "uq_rain_gauge_reading_site_key_farm_key_read_at_version"
FARM = "fk_rain_gauge_reading_farm_key_farm"
SOLE_USERS = """
    SELECT site_key, MIN(farm_key) AS farm_key FROM (
        SELECT site_key, farm_key FROM farm_site
        UNION
        SELECT v.site_key, b.farm_key
        FROM block_version v JOIN block b ON b.block_key = v.block_key
    ) users
    WHERE site_key NOT IN (SELECT site_key FROM county)
    GROUP BY site_key HAVING COUNT(*) = 1
"""


def upgrade() -> None:
    op.create_table(
        "farm_rain_day",
        sa.Column("site_key", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("farm_key", sa.Integer(), nullable=False),
        sa.Column("rain_mm", sa.Double()),
        sa.Column("note", sa.Text()),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_farm_rain_day_site_key_site"
        ),
        sa.ForeignKeyConstraint(
            ["farm_key"], ["farm.farm_key"], name="fk_farm_rain_day_farm_key_farm"
        ),
        sa.PrimaryKeyConstraint("site_key", "day", "farm_key", name="pk_farm_rain_day"),
        sqlite_with_rowid=False,
    )
    op.drop_index("ix_rain_gauge_reading_in_force", table_name="rain_gauge_reading")
    with op.batch_alter_table("rain_gauge_reading", copy_from=_readings()) as reading:
        reading.drop_constraint(FORMER_UNIQUE, type_="unique")
        reading.add_column(sa.Column("farm_key", sa.Integer()))
        reading.create_foreign_key(FARM, "farm", ["farm_key"], ["farm_key"])
        reading.create_unique_constraint(UNIQUE, ["site_key", "farm_key", "read_at", "version"])
    _index("ix_rain_gauge_reading_of_place", ["site_key", "read_at"], OF_PLACE)
    _index("ix_rain_gauge_reading_of_farm", ["site_key", "farm_key", "read_at"], IN_FORCE)
    _give_to_farms()


def downgrade() -> None:
    op.execute(
        "INSERT INTO weather_day (site_key, day, source, kind, issued_at, fetched_at, field_notes,"
        " rain_mm) SELECT site_key, day, 'gauge', 'observed', MAX(recorded_at), MAX(recorded_at),"
        " MAX(note), MAX(rain_mm) FROM farm_rain_day f WHERE NOT EXISTS"
        " (SELECT 1 FROM weather_day w WHERE w.site_key = f.site_key AND w.day = f.day"
        " AND w.source = 'gauge'"
        " AND w.kind = 'observed') GROUP BY site_key, day"
    )
    # Before, a place had one reading for an instant: the first stored is kept.
    op.execute(
        "DELETE FROM rain_gauge_reading WHERE reading_key NOT IN (SELECT MIN(reading_key)"
        " FROM rain_gauge_reading GROUP BY site_key, read_at, version)"
    )
    op.drop_index("ix_rain_gauge_reading_of_farm", table_name="rain_gauge_reading")
    op.drop_index("ix_rain_gauge_reading_of_place", table_name="rain_gauge_reading")
    with op.batch_alter_table("rain_gauge_reading", copy_from=_readings(with_farm=True)) as reading:
        reading.drop_constraint(UNIQUE, type_="unique")
        reading.drop_constraint(FARM, type_="foreignkey")
        reading.drop_column("farm_key")
        reading.create_unique_constraint(FORMER_UNIQUE, ["site_key", "read_at", "version"])
    _index("ix_rain_gauge_reading_in_force", ["site_key", "read_at"], IN_FORCE)
    op.drop_table("farm_rain_day")


def _index(name: str, columns: list[str], where: str) -> None:
    op.create_index(
        name,
        "rain_gauge_reading",
        columns,
        unique=True,
        sqlite_where=sa.text(where),
        postgresql_where=sa.text(where),
    )


def _give_to_farms() -> None:
    op.execute(
        "INSERT INTO farm_rain_day (site_key, day, farm_key, rain_mm, note, recorded_at)"
        " SELECT w.site_key, w.day, s.farm_key, w.rain_mm, w.field_notes, w.issued_at"
        f" FROM weather_day w JOIN ({SOLE_USERS}) s ON s.site_key = w.site_key"
        " WHERE w.source = 'gauge' AND w.kind = 'observed'"
    )
    op.execute(
        "DELETE FROM weather_day WHERE source = 'gauge' AND kind = 'observed'"
        f" AND site_key IN (SELECT site_key FROM ({SOLE_USERS}) s)"
    )
    op.execute(
        "UPDATE rain_gauge_reading SET farm_key = (SELECT s.farm_key"
        f" FROM ({SOLE_USERS}) s WHERE s.site_key = rain_gauge_reading.site_key)"
    )


def _readings(*, with_farm: bool = False) -> sa.Table:
    """The table as it is before a change; SQLite copies it, without reading its checks."""
    farm = [sa.Column("farm_key", sa.Integer())] if with_farm else []
    unique = ["site_key", "farm_key", "read_at", "version"] if with_farm else None
    return sa.Table(
        "rain_gauge_reading",
        sa.MetaData(),
        sa.Column("reading_key", BIG_KEY, nullable=False),
        sa.Column("site_key", sa.Integer(), nullable=False),
        *farm,
        sa.Column("read_at", INSTANT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("covers_from", INSTANT, nullable=False),
        sa.Column("rain_mm", sa.Double(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("reporter", sa.Text(), nullable=False),
        sa.Column("recorded_at", INSTANT, nullable=False),
        sa.Column("superseded_at", INSTANT),
        *_checks(),
        sa.ForeignKeyConstraint(
            ["site_key"], ["site.site_key"], name="fk_rain_gauge_reading_site_key_site"
        ),
        *([sa.ForeignKeyConstraint(["farm_key"], ["farm.farm_key"], name=FARM)] if farm else []),
        sa.PrimaryKeyConstraint("reading_key", name="pk_rain_gauge_reading"),
        sa.UniqueConstraint(
            *(unique or ["site_key", "read_at", "version"]),
            name=UNIQUE if with_farm else FORMER_UNIQUE,
        ),
    )


def _checks() -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(text, name=op.f(f"ck_rain_gauge_reading_{name}"))
        for name, text in (
            ("version_positive", "version >= 1"),
            ("rain_not_negative", "rain_mm >= 0"),
            ("kind", "kind IN ('measured', 'trace', 'none', 'multi-day')"),
            ("cover_before_reading", "covers_from <= read_at"),
        )
    ]
