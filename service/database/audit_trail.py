"""The record of changes in the database: entries are added and read, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Collection
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import ColumnElement, Connection, RowMapping, insert, or_, select

from service.database.acting import current_actor
from service.database.tables import audit_entry
from service.records.audit import (
    Actor,
    ActorKind,
    AuditEntry,
    Document,
    Entrance,
    Subject,
    changed_parts,
)

LONGEST_NAME = 100


def system_time() -> datetime:
    """The present instant, UTC."""
    return datetime.now(UTC)


class AuditTrail:
    """Who changed what. There is no way to change or remove an entry."""

    def __init__(
        self, connection: Connection, *, now: Callable[[], datetime] = system_time
    ) -> None:
        self._connection = connection
        self._now = now

    @property
    def actor(self) -> Actor:
        """Whose changes are noted."""
        return current_actor()

    def note(
        self,
        subject: Subject,
        subject_id: str,
        *,
        farm_id: str | None,
        before: object = None,
        after: object = None,
    ) -> bool:
        """Note that a thing changed; False, and nothing is noted, where both states are the same.

        before, after: records or mappings; None for a thing that is new, or gone. Only what differs
        is kept.
        """
        parts = changed_parts(before, after)
        if parts is None:
            return False
        actor = self.actor
        self._connection.execute(
            insert(audit_entry).values(
                at=self._now(),
                farm_id=farm_id,
                actor_kind=actor.kind.value,
                actor_id=actor.actor_id[:LONGEST_NAME],
                actor_name=actor.name[:LONGEST_NAME],
                entrance=actor.entrance.value,
                subject=subject.value,
                subject_id=subject_id,
                before=_text(parts[0]),
                after=_text(parts[1]),
            )
        )
        return True

    def list_entries(
        self,
        farm_id: str | None,
        *,
        count: int,
        older_than: int | None = None,
        newer_than: int | None = None,
        subjects: Collection[Subject] = (),
        about: Collection[tuple[Subject | None, str]] = (),
        between: tuple[datetime | None, datetime | None] = (None, None),
    ) -> list[AuditEntry]:
        """Entries of a farm, or (None) of all farms and of none, the newest first.

        With ``newer_than``, an entry's key, the oldest that follow it, in the order of time.
        about: only entries about one of these things; without a subject, of any. between: no entry
        from before the first instant, nor from the second on.
        """
        since, until = between
        key = audit_entry.c.entry_key
        wanted = select(audit_entry).limit(count)
        wanted = wanted.order_by(key.desc() if newer_than is None else key)
        if farm_id is not None:
            wanted = wanted.where(audit_entry.c.farm_id == farm_id)
        if older_than is not None:
            wanted = wanted.where(key < older_than)
        if newer_than is not None:
            wanted = wanted.where(key > newer_than)
        if subjects:
            wanted = wanted.where(audit_entry.c.subject.in_([each.value for each in subjects]))
        if about:
            wanted = wanted.where(
                or_(*(_is_about(subject, subject_id) for subject, subject_id in about))
            )
        if since is not None:
            wanted = wanted.where(audit_entry.c.at >= since)
        if until is not None:
            wanted = wanted.where(audit_entry.c.at < until)
        return [_entry(row) for row in self._connection.execute(wanted).mappings()]


def _is_about(subject: Subject | None, subject_id: str) -> ColumnElement[bool]:
    is_named = audit_entry.c.subject_id == subject_id
    return is_named if subject is None else is_named & (audit_entry.c.subject == subject.value)


def _text(document: Document | None) -> str | None:
    return None if document is None else orjson.dumps(document).decode()


def _document(text: Any) -> Document | None:
    return None if text is None else orjson.loads(text)


def _entry(row: RowMapping) -> AuditEntry:
    return AuditEntry(
        entry_key=row["entry_key"],
        at=row["at"],
        farm_id=row["farm_id"],
        actor=Actor(
            ActorKind(row["actor_kind"]),
            Entrance(row["entrance"]),
            row["actor_id"],
            row["actor_name"],
        ),
        subject=Subject(row["subject"]),
        subject_id=row["subject_id"],
        before=_document(row["before"]),
        after=_document(row["after"]),
    )
