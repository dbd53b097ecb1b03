"""One-click unsubscribe: the token in any mail takes its reader off that mail's list.

A token is 128 random bits, used in one mail only; its SHA-256 is stored. Showing what a token would
do changes nothing, because scanners follow links; using it twice is the same as once.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass

from service.database.session import UnitOfWorkFactory
from service.errors import NotFound
from service.records.audit import Subject, shortened_address

TOKEN_BYTES = 16
LONGEST_TOKEN = 64


@dataclass(frozen=True, slots=True)
class Subscription:
    """The person and list that a token belongs to."""

    mail_address: str
    mail_list: str
    """``evening`` or ``weekly``."""
    language: str
    is_active: bool
    """Whether the person still gets these mails."""


def new_token() -> str:
    """A token for one mail."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def token_digest(token: str) -> str:
    """What is stored of a token: a plain hash is enough for 128 random bits or more."""
    return hashlib.sha256(token.encode()).hexdigest()


def find_subscription(token: str, *, unit_of_work: UnitOfWorkFactory) -> Subscription:
    """What a token would stop; raises NotFound for an unknown one. Changes nothing."""
    with unit_of_work(write=False) as unit:
        found = unit.outbox.find_by_token(token_digest(token[:LONGEST_TOKEN]))
    if found is None:
        raise NotFound("this link is not known; it may be too old")
    known, kind = found
    mail_list = _list_of(kind)
    return Subscription(
        mail_address=known.person.mail_address,
        mail_list=mail_list,
        language=known.person.language,
        is_active=known.suppressed_at is None and mail_list in known.person.receives,
    )


def unsubscribe(token: str, *, unit_of_work: UnitOfWorkFactory) -> Subscription:
    """Stop these mails for the reader whose mail had this token; raises NotFound."""
    with unit_of_work(write=True) as unit:
        found = unit.outbox.find_by_token(token_digest(token[:LONGEST_TOKEN]))
        if found is not None:
            known, mail_list = found[0], _list_of(found[1])
            unit.people.unsubscribe(known.person_key, mail_list)
            if mail_list in known.person.receives:
                unit.audit.note(
                    Subject.PERSON,
                    shortened_address(known.person.mail_address),
                    farm_id=known.farm_id or None,
                    before={"receives": known.person.receives},
                    after={
                        "receives": [each for each in known.person.receives if each != mail_list]
                    },
                )
    return find_subscription(token, unit_of_work=unit_of_work)


def _list_of(kind: str) -> str:
    return "evening" if kind == "evening" else "weekly"
