"""Stored answers to requests with an idempotency key."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from service.database.tables import idempotent_answer
from service.records.access import StoredAnswer


class AnswerStore:
    """Answers by tenant and idempotency key."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def find(self, tenant: str, idempotency_key: str) -> StoredAnswer | None:
        """The stored answer for a tenant's key."""
        row = self._connection.execute(
            select(
                idempotent_answer.c.request_digest,
                idempotent_answer.c.status,
                idempotent_answer.c.body,
                idempotent_answer.c.stored_at,
            ).where(
                idempotent_answer.c.tenant == tenant,
                idempotent_answer.c.idempotency_key == idempotency_key,
            )
        ).one_or_none()
        if row is None:
            return None
        digest, status, body, stored_at = row
        return StoredAnswer(digest, status, bytes(body), stored_at)

    def save(self, tenant: str, idempotency_key: str, answer: StoredAnswer) -> None:
        """Store an answer, replacing an older one under the same key."""
        self._connection.execute(
            delete(idempotent_answer).where(
                idempotent_answer.c.tenant == tenant,
                idempotent_answer.c.idempotency_key == idempotency_key,
            )
        )
        self._connection.execute(
            insert(idempotent_answer).values(
                tenant=tenant,
                idempotency_key=idempotency_key,
                request_digest=answer.request_digest,
                status=answer.status,
                body=answer.body,
                stored_at=answer.stored_at,
            )
        )

    def prune(self, *, before: datetime) -> int:
        """Forget answers stored before; returns how many."""
        return self._connection.execute(
            delete(idempotent_answer).where(idempotent_answer.c.stored_at < before)
        ).rowcount
