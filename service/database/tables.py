"""The tables: what the service stores, for SQLite and PostgreSQL alike.

``..._key`` columns are integer keys of the database's own; ``..._id`` columns are names that people
chose. Numbers carry the names and units of ``service.agronomy.units``; NULL means "not known".
Instants are UTC; a ``day`` is a local calendar date.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Dialect,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
    text,
)
from sqlalchemy.types import TypeDecorator, TypeEngine

from service.records.farms import BLOCK_NUMBERS
from service.records.ledger import LEDGER_NUMBERS
from service.records.weather import STATION_FIELDS, WEATHER_FIELDS

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

_BigKey = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows of INTEGER keys only


def _numbers(names: tuple[str, ...]) -> list[Column[float]]:
    return [Column(name, Double) for name in names]


farm = Table(
    "farm",
    metadata,
    Column("farm_key", Integer, primary_key=True),
    Column("farm_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("zone", Text, nullable=False),
    Column("issue_wall_min", Integer, nullable=False),
    Column("unit_system", Text, nullable=False),
    CheckConstraint("issue_wall_min BETWEEN 0 AND 1439", name="issue_within_day"),
    CheckConstraint("unit_system IN ('us', 'si')", name="unit_system"),
)

site = Table(
    "site",
    metadata,
    Column("site_key", Integer, primary_key=True),
    Column("site_id", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("latitude_deg", Double, nullable=False),
    Column("longitude_deg", Double, nullable=False),
    Column("elevation_m", Double, nullable=False),
    Column("zone", Text, nullable=False),
    Column("wind_height_m", Double, nullable=False),
    Column("krs_per_sqrt_c", Double, nullable=False),
    Column("normals", Text),
    CheckConstraint("latitude_deg BETWEEN -90 AND 90", name="latitude"),
    CheckConstraint("longitude_deg BETWEEN -180 AND 180", name="longitude"),
)

county = Table(
    "county",
    metadata,
    Column("county_key", Integer, primary_key=True),
    Column("county_code", Text, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
)

farm_site = Table(
    "farm_site",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), primary_key=True, index=True),
)
"""The sites named in a farm's file, including those no block draws on yet."""

supply = Table(
    "supply",
    metadata,
    Column("supply_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False),
    Column("supply_id", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("flow_l_per_h", Double, nullable=False),
    Column("windows", Text, nullable=False),
    Column("retired_from", Date),
    UniqueConstraint("farm_key", "supply_id"),
    CheckConstraint("flow_l_per_h > 0", name="flow_positive"),
)

block = Table(
    "block",
    metadata,
    Column("block_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), nullable=False, index=True),
    Column("block_id", Text, nullable=False, unique=True),
    Column("short_id", Text, nullable=False, index=True),
)
"""Only the identity of a block. ``short_id`` is the part of ``block_id`` after the dot."""

block_version = Table(
    "block_version",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("version", Integer, primary_key=True),
    Column("valid_from", Date, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("is_retired", Boolean, nullable=False),
    Column("supply_key", ForeignKey("supply.supply_key"), nullable=False),
    Column("site_key", ForeignKey("site.site_key"), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("crop_key", Text, nullable=False),
    Column("balance_start", Date),
    Column("curve", Text, nullable=False),
    Column("windows", Text, nullable=False),
    Column("no_water", Text, nullable=False),
    Column("origins", Text, nullable=False),
    *(Column(name, Text) for name in ("layout", "timer", "visits")),
    Column("digest", Text, nullable=False),
    *_numbers(BLOCK_NUMBERS),
    CheckConstraint("version >= 1", name="version_positive"),
)
"""The definition of a block. In force on a day: the highest version whose ``valid_from`` is not
after it.

A version with ``is_retired`` retires the block and repeats the previous numbers.
"""

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
    *_numbers(WEATHER_FIELDS),
    CheckConstraint("kind IN ('observed', 'analysis', 'forecast')", name="kind"),
    sqlite_with_rowid=False,
)

balance_day = Table(
    "balance_day",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("is_observed", Boolean, nullable=False),
    Column("irrigation_origin", SmallInteger, nullable=False),
    Column("flags", BigInteger, nullable=False),
    *_numbers(LEDGER_NUMBERS),
    CheckConstraint("irrigation_origin IN (0, 1, 2, 3)", name="irrigation_origin"),
    sqlite_with_rowid=False,
)
"""One ledger day. ``irrigation_origin``: 0 none, 1 reported runs, 2 plan assumed carried out, 3
metered runs.
"""

balance_state = Table(
    "balance_state",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True, autoincrement=False),
    Column("settled_day", Date),
    *_numbers(("depletion_mm", "degree_day_sum_c_day", "alley_store_mm")),
    Column("flags", BigInteger, nullable=False),
)
"""Where the ledger is settled; no row, or no day in it: nothing is settled yet."""

weather_basis = Table(
    "weather_basis",
    metadata,
    Column("basis_key", _BigKey, primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
    Column("day", Date, nullable=False),
    Column("digest", Text, nullable=False),
    Column("issued_at", UtcInstant, nullable=False),
    Column("document", Text, nullable=False),
    UniqueConstraint("site_key", "day", "digest"),
)

plan = Table(
    "plan",
    metadata,
    Column("plan_key", _BigKey, primary_key=True),
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
    UniqueConstraint("block_key", "day", "version"),
    CheckConstraint("version >= 1", name="version_positive"),
    CheckConstraint("status IN ('water', 'rest', 'no-weather')", name="status"),
    CheckConstraint("early_min BETWEEN 0 AND planned_min", name="early_within_planned"),
)
Index(
    "ix_plan_in_force",
    plan.c.day,
    plan.c.block_key,
    unique=True,
    sqlite_where=text("superseded_at IS NULL"),
    postgresql_where=text("superseded_at IS NULL"),
)

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

run = Table(
    "run",
    metadata,
    Column("run_key", _BigKey, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False),
    Column("day", Date, nullable=False),
    Column("started_at", UtcInstant, nullable=False),
    Column("start_min", Integer, nullable=False),
    Column("duration_min", Double, nullable=False),
    Column("volume_l", Double),
    Column("flowing_min", Double),
    Column("is_early", Boolean, nullable=False),
    Column("is_volume_booked", Boolean, nullable=False, server_default=false()),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    UniqueConstraint("block_key", "started_at"),
    CheckConstraint("duration_min >= 0", name="duration_not_negative"),
    Index("ix_run_day_block_key", "day", "block_key"),
)

rain_gauge_reading = Table(
    "rain_gauge_reading",
    metadata,
    Column("reading_key", _BigKey, primary_key=True),
    Column("site_key", ForeignKey("site.site_key"), nullable=False),
    Column("read_at", UtcInstant, nullable=False),
    Column("version", Integer, nullable=False),
    Column("covers_from", UtcInstant, nullable=False),
    Column("rain_mm", Double, nullable=False),
    Column("kind", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("superseded_at", UtcInstant),
    UniqueConstraint("site_key", "read_at", "version"),
    CheckConstraint("version >= 1", name="version_positive"),
    CheckConstraint("rain_mm >= 0", name="rain_not_negative"),
    CheckConstraint("kind IN ('measured', 'trace', 'none', 'multi-day')", name="kind"),
    CheckConstraint("covers_from <= read_at", name="cover_before_reading"),
)
Index(
    "ix_rain_gauge_reading_in_force",
    rain_gauge_reading.c.site_key,
    rain_gauge_reading.c.read_at,
    unique=True,
    sqlite_where=text("superseded_at IS NULL"),
    postgresql_where=text("superseded_at IS NULL"),
)

soil_reading = Table(
    "soil_reading",
    metadata,
    Column("reading_key", _BigKey, primary_key=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False),
    Column("read_at", UtcInstant, nullable=False),
    Column("day", Date, nullable=False),
    Column("is_evening", Boolean, nullable=False),
    Column("kind", Text, nullable=False),
    Column("volumetric_water", Double, nullable=False),
    Column("tension_kpa", Double),
    Column("top_depth_m", Double, nullable=False),
    Column("bottom_depth_m", Double, nullable=False),
    Column("depletion_reading_mm", Double, nullable=False),
    Column("weight_fraction", Double, nullable=False),
    Column("note", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    UniqueConstraint("block_key", "read_at"),
    CheckConstraint("kind IN ('volumetric', 'tension', 'estimate')", name="kind"),
    CheckConstraint("weight_fraction BETWEEN 0 AND 1", name="weight"),
    CheckConstraint("top_depth_m < bottom_depth_m", name="depths_rise"),
    Index("ix_soil_reading_day_block_key", "day", "block_key"),
)
"""A soil reading with the depletion and the weight computed when it arrived."""

pause = Table(
    "pause",
    metadata,
    Column("pause_key", _BigKey, primary_key=True),
    Column("pause_id", Text, nullable=False, unique=True),
    Column("block_key", ForeignKey("block.block_key"), nullable=False, index=True),
    Column("starts_local", Text, nullable=False),
    Column("ends_local", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("reporter", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Column("cancelled_at", UtcInstant),
    CheckConstraint("starts_local < ends_local", name="starts_before_end"),
)
"""Pauses, in addition to the no-water periods of a block's version; wall-clock times in the
block's zone.
"""

timer_program = Table(
    "timer_program",
    metadata,
    Column("program_key", _BigKey, primary_key=True),
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
)
"""Programs worked out for timers. In force on a day: of those with a ``set_from`` not after it the
last; the others were offered and not set.
"""

api_key = Table(
    "api_key",
    metadata,
    Column("key_id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("farm_id", Text),
    Column("scopes", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("created_at", UtcInstant, nullable=False),
    Column("expires_at", UtcInstant),
    Column("revoked_at", UtcInstant),
    Column("last_used_at", UtcInstant),
)
"""Bearer keys. ``farm_id`` NULL: the whole region; not a foreign key, because a key may be made
for a farm that its holder has yet to create."""

idempotent_answer = Table(
    "idempotent_answer",
    metadata,
    Column("tenant", Text, primary_key=True),
    Column("idempotency_key", Text, primary_key=True),
    Column("request_digest", Text, nullable=False),
    Column("status", SmallInteger, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("stored_at", UtcInstant, nullable=False, index=True),
)
"""The answer given to a request with an idempotency key, so that it is not done twice."""

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
    *_numbers(STATION_FIELDS),
    CheckConstraint("start_epoch_s < end_epoch_s", name="start_before_end"),
    sqlite_with_rowid=False,
)
"""What a station measured between two instants, in seconds since 1970 UTC."""

job_run = Table(
    "job_run",
    metadata,
    Column("run_key", Text, primary_key=True),
    Column("job", Text, nullable=False),
    Column("due_at", UtcInstant, nullable=False),
    Column("state", Text, nullable=False),
    Column("owner", Text, nullable=False),
    Column("held_until", UtcInstant, nullable=False),
    Column("attempt_count", Integer, nullable=False),
    Column("changed_at", UtcInstant, nullable=False),
    Column("outcome", Text),
    CheckConstraint("state IN ('claimed', 'waiting', 'done')", name="state"),
    CheckConstraint("attempt_count >= 1", name="attempted"),
    CheckConstraint("(state = 'done') = (outcome IS NOT NULL)", name="outcome_when_done"),
)
"""One row per run key, created when it is first claimed; nobody may claim it before ``held_until``.

``claimed``: ``owner`` is working on it, or died doing so. ``waiting``: it failed and will be
retried. ``done``: finished for good.
"""

scheduler_tick = Table(
    "scheduler_tick",
    metadata,
    Column("owner", Text, primary_key=True),
    Column("first_tick_at", UtcInstant, nullable=False),
    Column("last_tick_at", UtcInstant, nullable=False),
)
"""When each scheduler process last looked at what is due; a watchdog reads it."""

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

change_mark = Table(
    "change_mark",
    metadata,
    Column("topic", Text, primary_key=True),
    Column("change_count", BigInteger, nullable=False),
)
"""Change counts by topic; every process checks here for changes."""

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

calendar_link = Table(
    "calendar_link",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True, autoincrement=False),
    Column("token_digest", Text, nullable=False, unique=True),
    Column("created_at", UtcInstant, nullable=False),
)
"""The secret link to a farm's calendar; only its hash is stored."""

catch_test = Table(
    "catch_test",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""Volumes caught at a block's emitters on a day."""

water_sample = Table(
    "water_sample",
    metadata,
    Column("supply_key", ForeignKey("supply.supply_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""A laboratory's report on a supply's water, by the day of the sample."""

flow_finding = Table(
    "flow_finding",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("verdict", Text, nullable=False),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""Flow-check findings of a block, by the day of the last metered run."""

fertiliser_product = Table(
    "fertiliser_product",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True),
    Column("product_id", Text, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
)
"""A product that a farm entered by its label."""

fertigation = Table(
    "fertigation",
    metadata,
    Column("block_key", ForeignKey("block.block_key"), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("document", Text, nullable=False),
    Column("recorded_at", UtcInstant, nullable=False),
    Index("ix_fertigation_day", "day"),
)
"""Injection order of a block for a day."""

person = Table(
    "person",
    metadata,
    Column("person_key", Integer, primary_key=True),
    Column("farm_key", ForeignKey("farm.farm_key"), index=True),
    Column("mail_address", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("language", Text, nullable=False),
    Column("unit_system", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("gets_evening", Boolean, nullable=False),
    Column("gets_weekly", Boolean, nullable=False),
    Column("has_left_evening", Boolean, nullable=False),
    Column("has_left_weekly", Boolean, nullable=False),
    Column("reference_block_id", Text, nullable=False),
    Column("suppressed_at", UtcInstant),
    Column("suppressed_reason", Text, nullable=False),
    Column("late_count", Integer, nullable=False),
    UniqueConstraint("mail_address", "farm_key"),
    CheckConstraint("language IN ('en', 'es')", name="language"),
    CheckConstraint("unit_system IN ('us', 'si')", name="unit_system"),
    CheckConstraint("role IN ('grower', 'adviser')", name="role"),
    CheckConstraint("late_count >= 0", name="late_not_negative"),
)
Index(
    "ix_person_without_farm",
    person.c.mail_address,
    unique=True,
    sqlite_where=text("farm_key IS NULL"),
    postgresql_where=text("farm_key IS NULL"),
)
"""Mail recipients: readers of one farm, or of none. A reader of two farms has two rows, so that no
farm can change what another farm's readers get. ``has_left_...``: unsubscribed, which loading a
farm file does not undo. ``late_count``: mails in a row that were put off until they expired.
"""

mail = Table(
    "mail",
    metadata,
    Column("mail_key", _BigKey, primary_key=True),
    Column("person_key", ForeignKey("person.person_key"), nullable=False),
    Column("farm_id", Text, nullable=False),
    Column("plan_day", Date, nullable=False),
    Column("kind", Text, nullable=False),
    Column("plan_version", Integer, nullable=False),
    Column("said", Text, nullable=False),
    Column("queued_at", UtcInstant, nullable=False),
    Column("expires_at", UtcInstant, nullable=False),
    Column("state", Text, nullable=False),
    Column("owner", Text, nullable=False),
    Column("next_try_at", UtcInstant, nullable=False),
    Column("changed_at", UtcInstant, nullable=False),
    Column("attempt_count", Integer, nullable=False),
    Column("last_reply", Text, nullable=False),
    Column("message_id", Text, nullable=False),
    Column("token_digest", Text, unique=True),
    Column("message", LargeBinary),
    UniqueConstraint("person_key", "farm_id", "plan_day", "kind", "plan_version"),
    CheckConstraint("kind IN ('evening', 'weekly', 'bulletin', 'sign-in')", name="kind"),
    CheckConstraint("state IN ('queued', 'sending', 'sent', 'failed', 'dropped')", name="state"),
    CheckConstraint("plan_version >= 1", name="version_positive"),
    Index("ix_mail_state_next_try_at", "state", "next_try_at"),
)
"""One mail to one person, queued in the transaction that made what it reports.

``queued``: may be tried from ``next_try_at`` on. ``sending``: ``owner`` is trying, or has died;
another may take it from ``next_try_at`` on. ``sent``: the relay accepted it. ``failed``: refused
for good. ``dropped``: too late, replaced by a newer version, or no longer wanted.

``token_digest``: SHA-256 of the token in the mail's link. It stops the mails of a list; in a
``sign-in`` mail it signs in until ``expires_at``, and is deleted when used.
"""

sign_in_request = Table(
    "sign_in_request",
    metadata,
    Column("request_key", _BigKey, primary_key=True),
    Column("mail_address", Text, nullable=False),
    Column("asked_at", UtcInstant, nullable=False),
)
"""A request for a sign-in link, to an address that may be unknown. The next delivery round removes
it, so that the asker cannot tell whether the address is known.
"""

ended_session = Table(
    "ended_session",
    metadata,
    Column("cookie_digest", Text, primary_key=True),
    Column("ends_at", UtcInstant, nullable=False),
)
"""A session of the pages that its holder ended, by the SHA-256 of its cookie, until ``ends_at``,
when the cookie's own time is over.
"""
