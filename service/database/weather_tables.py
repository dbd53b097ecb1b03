"""Weather: days of places, stations and their files, what the services sent."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Date,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from service.database.column_types import BigKey, UtcInstant, metadata, numbers
from service.records.weather import STATION_FIELDS, WEATHER_FIELDS

weather_day = Table(
    "weather_day",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("source", Text, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("issued_at", UtcInstant, nullable=False),
    Column("fetched_at", UtcInstant, nullable=False),
    Column("wind_height_m", Double),
    Column("field_notes", Text),
    *numbers(WEATHER_FIELDS),
    CheckConstraint("kind IN ('observed', 'analysis', 'forecast')", name="kind"),
    sqlite_with_rowid=False,
)

weather_basis = Table(
    "weather_basis",
    metadata,
    Column("basis_key", BigKey, primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
    Column("day", Date, nullable=False),
    Column("digest", Text, nullable=False),
    Column("issued_at", UtcInstant, nullable=False),
    Column("document", Text, nullable=False),
    Column("packed", LargeBinary),
    Column("model_key", BigInteger),
    UniqueConstraint("site_key", "day", "digest"),
)
"""The weather that plans of a site rest on; once old, packed as plans are."""
_IS_WHOLE = text("model_key IS NULL")
_IS_MODEL = text("basis_key = model_key")
Index(
    "ix_weather_basis_whole",
    weather_basis.c.day,
    sqlite_where=_IS_WHOLE,
    postgresql_where=_IS_WHOLE,
)
Index(
    "ix_weather_basis_model",
    weather_basis.c.site_key,
    sqlite_where=_IS_MODEL,
    postgresql_where=_IS_MODEL,
)

station = Table(
    "station",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True, autoincrement=False),
    Column("clock", Text),
    Column("stamp", Text),
    Column("wind_height_m", Double),
    Column("radiation", Text),
    Column("columns", Text, nullable=False),
    CheckConstraint("stamp IN ('start', 'end')", name="stamp"),
    CheckConstraint("radiation IN ('w-m2', 'mj-m2')", name="radiation"),
)
"""How a grower's station is set up; NULL: not given yet."""

station_file = Table(
    "station_file",
    metadata,
    Column("file_key", Integer, primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
    Column("sha256", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    UniqueConstraint("site_key", "sha256"),
)
"""A file of a station, by the hash of its bytes; ``recorded_at``: when it last came."""

station_interval = Table(
    "station_interval",
    metadata,
    Column("site_key", ForeignKey("site.site_key"), primary_key=True),
    Column("start_epoch_s", BigInteger, primary_key=True),
    Column("end_epoch_s", BigInteger, primary_key=True),
    Column("file_key", ForeignKey("station_file.file_key"), nullable=False, index=True),
    *numbers(STATION_FIELDS),
    CheckConstraint("start_epoch_s < end_epoch_s", name="start_before_end"),
    sqlite_with_rowid=False,
)
"""What a station measured between two instants, in seconds since 1970 UTC."""

breaker = Table(
    "breaker",
    metadata,
    Column("breaker_key", Text, primary_key=True),
    Column("failure_count", Integer, nullable=False),
    Column("window_began_at", UtcInstant),
    Column("open_until", UtcInstant),
    Column("last_reason", Text, nullable=False),
    CheckConstraint("failure_count >= 0", name="failures_not_negative"),
)
"""Breakers of weather services, shared by all processes; ``open_until`` NULL: closed."""

http_payload = Table(
    "http_payload",
    metadata,
    Column("url_digest", Text, primary_key=True),
    Column("body_digest", Text, primary_key=True),
    Column("source", Text, nullable=False),
    Column("url", Text, nullable=False),
    Column("fetched_at", UtcInstant, nullable=False, index=True),
    Column("etag", Text),
    Column("last_modified", Text),
    Column("expires_at", UtcInstant),
    Column("body", LargeBinary, nullable=False),
)
"""Raw answers of weather services, gzipped; equal bodies of a request are one row."""
