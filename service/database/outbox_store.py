"""The outbox: mails queued in the same transaction as the change they report, sent when due.

Claims are leases, like those of jobs: mail held by a process that dies is free again once the lease
expires, and is sent with the same Message-ID. A claim passes over what another is claiming at the
same moment, so that it needs no lock of everything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

import orjson
from sqlalchemy import Connection, case, delete, func, select, update

from service.agronomy.records import Ints
from service.database.bulk import insert_into, is_among, is_one_of
from service.database.people_store import known_person
from service.database.tables import block, farm, mail, person, plan
from service.records.mail import (
    KnownPerson,
    MailBacklog,
    MailOrder,
    MailRow,
    PlanMark,
    QueuedMail,
)
from service.records.plan_reasoning import read_reasoning

OPEN_STATES = ("queued", "sending")
SIGN_IN = "sign-in"
"""The kind of mail that belongs to no list: its token signs in to the pages."""
_READER = [column for column in person.c if column.name not in ("person_key", "farm_key")]
"""The farm of a mail, which is its reader's farm and not in the mail's row."""


class OutboxStore:
    """Mails to send, each exactly once, even across failures."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def read_marks(self, farm_keys: Ints, *, day: date) -> list[PlanMark]:
        """The plans in force for a day, farm by farm."""
        rows = self._connection.execute(
            select(
                farm.c.farm_id,
                farm.c.zone,
                block.c.block_id,
                plan.c.planned_min,
                plan.c.status,
                # Long and rarely needed: read only for plans with an injection.
                case((plan.c.numbers.contains('"fertigation":'), plan.c.numbers), else_="").label(
                    "numbers"
                ),
            )
            .select_from(plan.join(block).join(farm))
            .where(
                plan.c.day == day,
                plan.c.superseded_at.is_(None),
                is_among(self._connection, farm.c.farm_key, farm_keys),
            )
            .order_by(farm.c.farm_id, block.c.block_id)
        ).all()
        replaced: dict[str, int] = {
            row.farm_id: row.replaced_count
            for row in self._connection.execute(
                select(farm.c.farm_id, func.count().label("replaced_count"))
                .select_from(plan.join(block).join(farm))
                .where(
                    plan.c.day == day,
                    plan.c.superseded_at.is_not(None),
                    is_among(self._connection, farm.c.farm_key, farm_keys),
                )
                .group_by(farm.c.farm_id)
            )
        }
        zones: dict[str, str] = {}
        minutes: dict[str, dict[str, int | None]] = {}
        injections: dict[str, dict[str, str]] = {}
        for farm_id, zone, block_id, planned_min, status, numbers in rows:
            zones[farm_id] = zone
            minutes.setdefault(farm_id, {})[block_id] = (
                None if status == "no-weather" else planned_min
            )
            if numbers:
                injections.setdefault(farm_id, {})[block_id] = _injection_mark(numbers)
        return [
            PlanMark(
                farm_id=farm_id,
                zone=zones[farm_id],
                plan_version=1 + replaced.get(farm_id, 0),
                minutes=planned_min,
                injections=injections.get(farm_id, {}),
            )
            for farm_id, planned_min in minutes.items()
        ]

    def list_content(
        self, farm_ids: Sequence[str], *, day: date, kind: str
    ) -> dict[tuple[int, str], Mapping[str, int | str | None]]:
        """The content mark of the newest mail of a kind for a day, by (person key, farm id)."""
        rows = self._connection.execute(
            select(mail.c.person_key, mail.c.farm_id, mail.c.said)
            .where(
                mail.c.plan_day == day,
                mail.c.kind == kind,
                is_one_of(self._connection, mail.c.farm_id, farm_ids),
            )
            .order_by(mail.c.plan_version)
        )
        return {(person_key, farm_id): orjson.loads(mark) for person_key, farm_id, mark in rows}

    def queue(self, orders: Sequence[MailOrder], *, at: datetime) -> int:
        """Store orders that are not there yet, returns how many were new.

        A new order replaces older versions of the same mail that have not been sent.
        """
        new_count = 0
        for order in orders:
            same = (
                (mail.c.person_key == order.person_key)
                & (mail.c.farm_id == order.farm_id)
                & (mail.c.plan_day == order.plan_day)
                & (mail.c.kind == order.kind)
            )
            inserted = self._connection.execute(
                insert_into(self._connection.dialect.name, mail)
                .values(
                    person_key=order.person_key,
                    farm_id=order.farm_id,
                    plan_day=order.plan_day,
                    kind=order.kind,
                    plan_version=order.plan_version,
                    said=orjson.dumps(order.content).decode(),
                    queued_at=at,
                    expires_at=order.expires_at,
                    state="queued",
                    owner="",
                    next_try_at=at,
                    changed_at=at,
                    attempt_count=0,
                    last_reply="",
                    message_id="",
                )
                .on_conflict_do_nothing()
                .returning(mail.c.mail_key)
            ).first()
            if inserted is None:
                continue
            new_count += 1
            self._connection.execute(
                update(mail)
                .where(same, mail.c.plan_version < order.plan_version, mail.c.state == "queued")
                .values(
                    state="dropped", changed_at=at, last_reply="replaced by a newer version",
                    message=None,
                )
            )  # fmt: skip
        return new_count

    def list_known(self, kind: str, *, day: date) -> set[tuple[int, str]]:
        """(person key, farm id) of orders of a kind and day."""
        return {
            (person_key, farm_id)
            for person_key, farm_id in self._connection.execute(
                select(mail.c.person_key, mail.c.farm_id).where(
                    mail.c.kind == kind, mail.c.plan_day == day
                )
            )
        }

    def has_due(self, *, now: datetime) -> bool:
        """Whether any mail is due."""
        return (
            self._connection.execute(
                select(mail.c.mail_key)
                .where(mail.c.state.in_(OPEN_STATES), mail.c.next_try_at <= now)
                .limit(1)
            ).first()
            is not None
        )

    def claim(self, *, owner: str, now: datetime, lease_s: int, limit: int) -> list[QueuedMail]:
        """Claim mails that are due and unclaimed, the oldest first."""
        rows = (
            self._connection.execute(
                select(mail, *_READER)
                .select_from(mail.join(person))
                .where(mail.c.state.in_(OPEN_STATES), mail.c.next_try_at <= now)
                .order_by(mail.c.next_try_at, mail.c.mail_key)
                .limit(limit)
                .with_for_update(of=mail, skip_locked=True)  # SQLite has one writer
            )
            .mappings()
            .all()
        )
        if not rows:
            return []
        self._connection.execute(
            update(mail)
            .where(mail.c.mail_key.in_([row["mail_key"] for row in rows]))
            .values(
                state="sending",
                owner=owner,
                next_try_at=now + timedelta(seconds=lease_s),
                changed_at=now,
                attempt_count=mail.c.attempt_count + 1,
            )
        )
        return [
            QueuedMail(
                mail_key=row["mail_key"],
                order=MailOrder(
                    person_key=row["person_key"],
                    farm_id=row["farm_id"],
                    plan_day=row["plan_day"],
                    kind=row["kind"],
                    plan_version=row["plan_version"],
                    content=orjson.loads(row["said"]),
                    expires_at=row["expires_at"],
                ),
                person=known_person(row),
                attempt_count=row["attempt_count"] + 1,
                message_id=row["message_id"],
                message=row["message"] or b"",
            )
            for row in rows
        ]

    def store_message(
        self, mail_key: int, message: bytes, *, message_id: str, token_digest: str
    ) -> None:
        """Store the composed message, so that each attempt sends the same bytes."""
        self._connection.execute(
            update(mail)
            .where(mail.c.mail_key == mail_key)
            .values(message=message, message_id=message_id, token_digest=token_digest)
        )

    def settle(
        self,
        mail_key: int,
        *,
        owner: str,
        now: datetime,
        state: str,
        reply: str = "",
        next_try_at: datetime | None = None,
    ) -> bool:
        """Record the outcome of a claimed mail; False if another process has taken it over."""
        values: dict[str, object] = {
            "state": state,
            "changed_at": now,
            "last_reply": reply,
            "next_try_at": next_try_at or now,
        }
        if state not in OPEN_STATES:
            values["message"] = None
        changed = self._connection.execute(
            update(mail)
            .where(mail.c.mail_key == mail_key, mail.c.owner == owner, mail.c.state == "sending")
            .values(values)
        )
        return changed.rowcount == 1

    def find_by_token(self, token_digest: str) -> tuple[KnownPerson, str] | None:
        """The recipient of a list mail, and its kind."""
        row = (
            self._connection.execute(
                select(*_READER, person.c.person_key, mail.c.farm_id, mail.c.kind)
                .select_from(mail.join(person))
                .where(mail.c.token_digest == token_digest, mail.c.kind != SIGN_IN)
            )
            .mappings()
            .one_or_none()
        )
        return None if row is None else (known_person(row), row["kind"])

    def list_mails(self, *, first_queued_at: datetime) -> list[MailRow]:
        """Mails queued since, the newest first."""
        rows = self._connection.execute(
            select(
                mail.c.mail_key,
                person.c.mail_address,
                mail.c.farm_id,
                mail.c.plan_day,
                mail.c.kind,
                mail.c.plan_version,
                mail.c.state,
                mail.c.attempt_count,
                mail.c.queued_at,
                mail.c.changed_at,
                mail.c.last_reply,
            )
            .select_from(mail.join(person))
            .where(mail.c.queued_at >= first_queued_at)
            .order_by(mail.c.mail_key.desc())
        ).mappings()
        return [MailRow(**row) for row in rows]

    def read_backlog(self) -> MailBacklog:
        """What waits and what was given up, in one statement."""
        is_open = mail.c.state.in_(OPEN_STATES)
        row = self._connection.execute(
            select(
                func.count().filter(is_open),
                func.min(mail.c.queued_at).filter(is_open),
                func.count().filter(mail.c.state == "failed"),
            ).select_from(mail)
        ).one()
        return MailBacklog(*row)

    def prune(self, *, before: datetime) -> int:
        """Delete finished mails that were queued before; returns how many."""
        return self._connection.execute(
            delete(mail).where(mail.c.queued_at < before, mail.c.state.not_in(OPEN_STATES))
        ).rowcount


def _injection_mark(numbers: str) -> str:
    """The order that a plan injects and when, in one line of text."""
    injection = read_reasoning(numbers).fertigation
    if injection is None:
        return ""
    return " ".join([injection.order_key, *(f"{start}-{end}" for start, end in injection.spans)])
