"""Raw answers of weather services in the database."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime

from sqlalchemy import Connection, delete, select

from service.database.bulk import insert_into
from service.database.tables import http_payload
from service.records.weather import StoredPayload

_RENEWED = ("fetched_at", "etag", "last_modified", "expires_at")
"""Columns that are refreshed when the same body arrives again."""


class PayloadStore:
    """Raw answers of weather services."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def find(self, url_digest: str) -> StoredPayload | None:
        """The newest answer to a request."""
        row = (
            self._connection.execute(
                select(http_payload)
                .where(http_payload.c.url_digest == url_digest)
                .order_by(http_payload.c.fetched_at.desc())
                .limit(1)
            )
            .mappings()
            .one_or_none()
        )
        return None if row is None else StoredPayload(**row)

    def save(self, payload: StoredPayload) -> None:
        """Store an answer; the same body for the same request only updates its times."""
        values = asdict(payload)
        self._connection.execute(
            insert_into(self._connection.dialect.name, http_payload)
            .values(**values)
            .on_conflict_do_update(
                index_elements=["url_digest", "body_digest"],
                set_={name: values[name] for name in _RENEWED},
            )
        )

    def prune(self, *, before: datetime) -> int:
        """Delete answers fetched before; returns how many."""
        return self._connection.execute(
            delete(http_payload).where(http_payload.c.fetched_at < before)
        ).rowcount
