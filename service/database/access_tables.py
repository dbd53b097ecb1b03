"""Who may do what, who gets mail, and the mails themselves."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    text,
)

from service.database.column_types import BigKey, UtcInstant, metadata

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

calendar_link = Table(
    "calendar_link",
    metadata,
    Column("farm_key", ForeignKey("farm.farm_key"), primary_key=True, autoincrement=False),
    Column("token_digest", Text, nullable=False, unique=True),
    Column("created_at", UtcInstant, nullable=False),
)
"""The secret link to a farm's calendar; only its hash is stored."""

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
    Column("mail_key", BigKey, primary_key=True),
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
    Column("request_key", BigKey, primary_key=True),
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

request_tally = Table(
    "request_tally",
    metadata,
    Column("counter", Text, primary_key=True),
    Column("ends_at", UtcInstant, nullable=False),
    Column("request_count", Integer, nullable=False),
)
"""How many requests of a caller all web processes have counted in a window that lasts until
``ends_at``. ``counter`` is a digest of the limit and of the key or address it is for. Not logged on
PostgreSQL, and unused on SQLite, where each process counts for itself.
"""
