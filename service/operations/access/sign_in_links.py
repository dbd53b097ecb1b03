"""Signing in by a mailed link, for people who get mail and have no key.

Asking only stores an address, so that nobody learns from the answer, or from how long it takes,
whether somebody gets mail there; the process that sends mail looks it up. The mail goes to the
address as it is stored, never to the one that was typed. A link has 128 random bits, of which the
SHA-256 is kept, works once and for fifteen minutes. The mail itself waits in the outbox, as every
mail does, until the relay has accepted it.

What a link opens is looked up again for every page. A grower's opens the farms they are listed
with, to read plans and report water, as a grower's key would, but not to change how a farm is set
up. An adviser's opens the counties and no farm. Somebody who is removed is signed out at once;
somebody who only stopped the mails still belongs to the farm and may sign in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.operations.access.manage_keys import Right
from service.operations.access.people import checked_address
from service.operations.access.unsubscribe import LONGEST_TOKEN, token_digest
from service.ports import Clock
from service.records.mail import KnownPerson, MailOrder

SIGN_IN: Final = "sign-in"
LINK_LASTS: Final = timedelta(minutes=15)
MOST_LINKS: Final = 3
"""Most links for one person within the lifetime of a link."""
GROWER_RIGHTS: Final = frozenset({Right.PLAN_READ, Right.WATER_WRITE})
ADVISER_RIGHTS: Final = frozenset({Right.ADVISER})


@dataclass(frozen=True, slots=True)
class LinkHolder:
    """Somebody who signs in by mail, and what they may open."""

    mail_address: str
    name: str
    language: str
    farm_ids: frozenset[str]
    rights: frozenset[Right]
    unit_system: str = "us"


def ask_for_link(mail_address: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> None:
    """Store that somebody wants to sign in by mail; raises InputInvalid for a bad address."""
    asked = checked_address(mail_address, where="mail")
    with unit_of_work(write=True) as unit:
        unit.sign_ins.ask(asked, at=clock.now())


def queue_sign_in_links(unit_of_work: UnitOfWorkFactory, *, now: datetime) -> int:
    """Queue a mail for each known person waiting for a link; returns how many."""
    with unit_of_work(write=False) as unit:
        if not unit.sign_ins.has_asked():
            return 0
    with unit_of_work(write=True) as unit:
        fresh = {
            mail_address: None
            for mail_address, asked_at in unit.sign_ins.take_asked()
            if asked_at > now - LINK_LASTS
        }
        readers = {
            known.person_key: known
            for mail_address in fresh
            if (known := _reader(unit, mail_address, now)) is not None
        }
        return unit.outbox.queue([_order(known, now) for known in readers.values()], at=now)


def _reader(unit: UnitOfWork, mail_address: str, now: datetime) -> KnownPerson | None:
    """Who gets the link; None for an unknown or suppressed address, or after too many links."""
    reachable = (
        known for known in unit.sign_ins.find_people(mail_address) if known.suppressed_at is None
    )
    first = next(reachable, None)
    if first is None:
        return None
    link_count = unit.sign_ins.count_links(first.person_key, since=now - LINK_LASTS)
    return first if link_count < MOST_LINKS else None


def _order(known: KnownPerson, now: datetime) -> MailOrder:
    today = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return MailOrder(
        person_key=known.person_key,
        farm_id="",
        plan_day=today.date(),
        kind=SIGN_IN,
        # At most one link a second; a later one replaces one that has not been sent yet.
        plan_version=1 + (now - today) // timedelta(seconds=1),
        expires_at=now + LINK_LASTS,
    )


def find_link(token: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> LinkHolder:
    """The person a link would sign in; raises NotFound. Scanners follow links: changes nothing."""
    with unit_of_work(write=False) as unit:
        known = unit.sign_ins.find_link(_digest(token), now=clock.now())
        return _holder(unit, known)


def use_link(token: str, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> LinkHolder:
    """The person a link signs in, once; raises NotFound for an unknown, used or expired link."""
    with unit_of_work(write=True) as unit:
        known = unit.sign_ins.use_link(_digest(token), now=clock.now())
        return _holder(unit, known)


def find_holder(mail_address: str, *, unit_of_work: UnitOfWorkFactory) -> LinkHolder | None:
    """What an address opens now; None if nobody is behind it any more."""
    with unit_of_work(write=False) as unit:
        return _joined(unit.people.list_people(mail_address=mail_address))


def _digest(token: str) -> str:
    return token_digest(token[:LONGEST_TOKEN])


def _holder(unit: UnitOfWork, known: KnownPerson | None) -> LinkHolder:
    holder = None
    if known is not None:
        holder = _joined(unit.people.list_people(mail_address=known.person.mail_address))
    if holder is None:
        raise NotFound("this link is not known, was used, or is too old")
    return holder


def _joined(people: Sequence[KnownPerson]) -> LinkHolder | None:
    """Everything that the people behind one address may see and do."""
    if not people:
        return None
    farm_ids = frozenset(known.farm_id for known in people if known.farm_id)
    is_adviser = any(known.person.role == "adviser" and not known.farm_id for known in people)
    first = people[0].person
    return LinkHolder(
        mail_address=first.mail_address,
        name=first.name,
        language=first.language,
        farm_ids=farm_ids,
        rights=(GROWER_RIGHTS if farm_ids else frozenset())
        | (ADVISER_RIGHTS if is_adviser else frozenset()),
        unit_system=first.unit_system,
    )
