"""Who gets mail, and the mails in the outbox."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from email_validator import validate_email

MAIL_LISTS = ("evening", "weekly")
"""The mails a person can receive; an adviser's weekly mail is the bulletin."""
LANGUAGES = ("en", "es")


def stored_address(text: str) -> str:
    """A mail address in the form that is stored and compared; raises ValueError with the reason.

    The domain is not checked for mail delivery, so this needs no network.
    """
    found = validate_email(text, check_deliverability=False, allow_smtputf8=False)
    return found.ascii_email or found.normalized


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who gets mail; the address, in checked form, is unique among a farm's readers."""

    mail_address: str
    name: str
    language: str = "en"
    unit_system: str = "us"
    role: str = "grower"
    """``grower`` of farms, or ``adviser`` of counties."""
    receives: tuple[str, ...] = MAIL_LISTS
    reference_block_id: str = ""
    """For an adviser: the block that counties are compared for; empty: the first one stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownPerson:
    """A person as stored."""

    person_key: int
    person: Person
    farm_id: str
    """The farm whose mails they get; empty for an adviser."""
    suppressed_at: datetime | None
    """Since when nothing is sent; None: not suppressed."""
    suppressed_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanMark:
    """A farm's plans for a day, as far as it matters for mailing them."""

    farm_id: str
    zone: str
    plan_version: int
    """1, plus one for each plan of a block that has been replaced."""
    minutes: Mapping[str, int | None]
    """Planned minutes by block id; None: nothing could be planned."""
    injections: Mapping[str, str] = field(default_factory=dict)
    """By block id, the injection order and its times, as ``0f3c 360-420 600-630``, in minutes of
    the day; without times it does not fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailOrder:
    """A mail to be written and sent: one per (person, farm, day, kind, version)."""

    person_key: int
    farm_id: str
    """Empty for a mail that is not about one farm."""
    plan_day: date
    """Day of the plan, or last day of the week."""
    kind: str
    plan_version: int = 1
    content: Mapping[str, int | str | None] = field(default_factory=dict)
    """The minutes and injections in the mail, to detect later changes."""
    expires_at: datetime
    """The mail is dropped if it has not been sent by then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QueuedMail:
    """An order that a sender has claimed."""

    mail_key: int
    order: MailOrder
    person: KnownPerson
    attempt_count: int
    """This attempt included."""
    message_id: str
    """Empty until the mail is written."""
    message: bytes
    """The bytes to send; empty until it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailRow:
    """An order and what became of it, for inspection."""

    mail_key: int
    mail_address: str
    farm_id: str
    plan_day: date
    kind: str
    plan_version: int
    state: str
    """``queued``, ``sending``, ``sent``, ``failed`` or ``dropped``."""
    attempt_count: int
    queued_at: datetime
    changed_at: datetime
    last_reply: str


@dataclass(frozen=True, slots=True)
class MailBacklog:
    """What waits to be sent, to all people."""

    waiting_count: int
    oldest_queued_at: datetime | None
    given_up_count: int
    """Mails that were given up and are still kept."""
