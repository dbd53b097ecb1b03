"""What columns are made of in both databases, and the schema that all tables belong to."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    DateTime,
    Dialect,
    Double,
    Integer,
    MetaData,
    String,
)
from sqlalchemy.types import TypeDecorator, TypeEngine

INSTANT_TEXT_LENGTH = 27


def instant_text(at: datetime) -> str:
    """An instant as ``2026-07-01T19:00:00.000000Z``: fixed width, so it sorts by time.

    Both databases take this text. Refuses a time without an offset: that is not an instant.
    """
    if at.tzinfo is None or at.utcoffset() is None:
        raise ValueError(f"instant {at.isoformat()}: has no UTC offset; give an aware datetime")
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def read_instant(value: str | datetime) -> datetime:
    """The aware UTC datetime behind what the driver returns for an instant."""
    if isinstance(value, str):
        return datetime.fromisoformat(value)
    return value.astimezone(UTC)


class UtcInstant(TypeDecorator[datetime]):
    """An instant: text in SQLite, which would drop the offset, ``timestamptz`` in PostgreSQL."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Pick the column type for the current database."""
        if dialect.name == "sqlite":
            return dialect.type_descriptor(String(INSTANT_TEXT_LENGTH))
        return dialect.type_descriptor(DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> object:
        """Refuse naive times; pass on UTC."""
        if value is None:
            return None
        stated = instant_text(value)
        return stated if dialect.name == "sqlite" else value.astimezone(UTC)

    def process_result_value(self, value: object, dialect: Dialect) -> datetime | None:
        """Return an aware UTC time."""
        if value is None:
            return None
        if not isinstance(value, (str, datetime)):
            raise TypeError(f"instant: got {type(value).__name__} from {dialect.name}")
        return read_instant(value)


metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

BigKey = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows of INTEGER keys only


def numbers(names: tuple[str, ...]) -> list[Column[float]]:
    """Columns of numbers that may be unknown."""
    return [Column(name, Double) for name in names]
