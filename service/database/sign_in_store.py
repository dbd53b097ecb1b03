"""Sign-in links sent by mail (who asked for one, and whether it was used), and ended sessions.

A link is a mail of its own kind, with the digest of its token in the mail's row. Using it deletes
the digest in the same statement that finds it, so that of two simultaneous uses only one succeeds.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, Select, delete, func, insert, select, update

from service.database.bulk import insert_into
from service.database.outbox_store import SIGN_IN
from service.database.people_store import PEOPLE, known_person
from service.database.tables import ended_session, mail, person, sign_in_request
from service.records.mail import KnownPerson


class SignInStore:
    """Sign-in links sent by mail: who asked for one, and whether it was used."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def ask(self, mail_address: str, *, at: datetime) -> None:
        """Record a request for a link to an address, known or not."""
        self._connection.execute(
            insert(sign_in_request).values(mail_address=mail_address, asked_at=at)
        )

    def has_asked(self) -> bool:
        """Whether any request is pending."""
        return (
            self._connection.execute(select(sign_in_request.c.request_key).limit(1)).first()
            is not None
        )

    def take_asked(self) -> list[tuple[str, datetime]]:
        """Address and time of all pending requests, oldest first; they are removed."""
        rows = self._connection.execute(
            select(sign_in_request).order_by(sign_in_request.c.request_key)
        ).all()
        self._connection.execute(
            delete(sign_in_request).where(
                sign_in_request.c.request_key.in_([row.request_key for row in rows])
            )
        )
        return [(row.mail_address, row.asked_at) for row in rows]

    def find_people(self, mail_address: str) -> list[KnownPerson]:
        """The people behind an address, ignoring case; exact matches first."""
        rows = self._connection.execute(
            PEOPLE.where(func.lower(person.c.mail_address) == mail_address.lower()).order_by(
                person.c.mail_address != mail_address, person.c.person_key
            )
        )
        return [known_person(row) for row in rows.mappings()]

    def count_links(self, person_key: int, *, since: datetime) -> int:
        """Number of links queued for a person since."""
        count: int = self._connection.execute(
            select(func.count()).where(
                mail.c.person_key == person_key, mail.c.kind == SIGN_IN, mail.c.queued_at > since
            )
        ).scalar_one()
        return count

    def find_link(self, token_digest: str, *, now: datetime) -> KnownPerson | None:
        """The person a link signs in; None if it is unknown, used or expired."""
        return self._one(
            PEOPLE.join(mail, mail.c.person_key == person.c.person_key).where(
                mail.c.token_digest == token_digest, mail.c.kind == SIGN_IN, mail.c.expires_at > now
            )
        )

    def use_link(self, token_digest: str, *, now: datetime) -> KnownPerson | None:
        """Like :meth:`find_link`, but uses up the link: only one caller gets the person."""
        person_key = self._connection.execute(
            update(mail)
            .where(
                mail.c.token_digest == token_digest, mail.c.kind == SIGN_IN, mail.c.expires_at > now
            )
            .values(token_digest=None)
            .returning(mail.c.person_key)
        ).scalar_one_or_none()
        return (
            None
            if person_key is None
            else self._one(PEOPLE.where(person.c.person_key == person_key))
        )

    def end_session(self, cookie_digest: str, *, ends_at: datetime, now: datetime) -> None:
        """Remember that a session was ended before its time; forget those whose time is over."""
        self._connection.execute(delete(ended_session).where(ended_session.c.ends_at <= now))
        self._connection.execute(
            insert_into(self._connection.dialect.name, ended_session)
            .values(cookie_digest=cookie_digest, ends_at=ends_at)
            .on_conflict_do_nothing()
        )

    def has_ended(self, cookie_digest: str) -> bool:
        """Whether a session was ended before its time."""
        found = self._connection.execute(
            select(ended_session.c.ends_at).where(ended_session.c.cookie_digest == cookie_digest)
        )
        return found.first() is not None

    def _one(self, wanted: Select[tuple[object, ...]]) -> KnownPerson | None:
        row = self._connection.execute(wanted).mappings().one_or_none()
        return None if row is None else known_person(row)
