"""Who gets mail, and the mails in the outbox."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from email_validator import validate_email

MAIL_LISTS = ("evening", "weekly")
"""What a person may ask for; an adviser's weekly mail is the bulletin."""
LANGUAGES = ("en", "es")


def stored_address(text: str) -> str:
    """A mail address as it is stored and compared; raises ValueError with what is wrong with it.

    Whether the domain takes mail is not asked, so that this needs no network.
    """
    found = validate_email(text, check_deliverability=False, allow_smtputf8=False)
    return found.ascii_email or found.normalized


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who gets mail; the address, in the form that was checked, tells readers of one farm
    apart."""

    mail_address: str
    name: str
    language: str = "en"
    unit_system: str = "us"
    role: str = "grower"
    """``grower`` of farms, or ``adviser`` of counties."""
    receives: tuple[str, ...] = MAIL_LISTS
    reference_block_id: str = ""
    """For an adviser: the block that stands in every county; empty: the first one stored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownPerson:
    """A person as stored."""

    person_key: int
    person: Person
    farm_id: str
    """The farm that they read of; empty for an adviser."""
    suppressed_at: datetime | None
    """Since then nothing is sent; None: all is well."""
    suppressed_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanMark:
    """A farm's plans for a day, as far as it matters for mailing them."""

    farm_id: str
    zone: str
    plan_version: int
    """1 and one more for each plan of a block that has been replaced."""
    minutes: Mapping[str, int | None]
    """Planned minutes by block id; None: nothing could be planned."""
    injections: Mapping[str, str] = field(default_factory=dict)
    """By block id the order that is injected and when, as ``0f3c 360-420 600-630``, in minutes of
    the day; without times it does not fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailOrder:
    """A mail to be written and sent: one per (person, farm, day, kind, version)."""

    person_key: int
    farm_id: str
    """Empty for a mail that is about no single farm."""
    plan_day: date
    """Day of the plan, or last day of the week."""
    kind: str
    plan_version: int = 1
    said: Mapping[str, int | str | None] = field(default_factory=dict)
    """The minutes and injections that the mail tells, to see later whether they changed."""
    expires_at: datetime
    """After this it is of no use any more and is dropped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QueuedMail:
    """An order that a sender has taken."""

    mail_key: int
    order: MailOrder
    person: KnownPerson
    attempt_count: int
    """This attempt included."""
    message_id: str
    """Empty until it is written."""
    message: bytes
    """The bytes to send; empty until it is written."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MailRow:
    """An order and what became of it, for looking at."""

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
