"""Bearer keys in the database: their hashes, never the keys."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, insert, or_, select, update

from service.database.tables import api_key
from service.errors import Conflict, NotFound
from service.records.access import ApiKey


class KeyStore:
    """Bearer keys, by the hash of each."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, key: ApiKey) -> None:
        """Store a new key; raises Conflict if its id is taken."""
        if self._find(key.key_id) is not None:
            raise Conflict(f"key {key.key_id}: there already is one with that id")
        self._connection.execute(insert(api_key).values(_values(key)))

    def list_keys(self) -> list[ApiKey]:
        """All keys, revoked and expired ones too, by time of creation."""
        rows = self._connection.execute(
            select(api_key).order_by(api_key.c.created_at, api_key.c.key_id)
        ).mappings()
        return [_key_from(row) for row in rows]

    def revoke(self, key_id: str, *, at: datetime) -> bool:
        """Revoke a key; False if it already is revoked. Raises NotFound for an unknown id."""
        found = self._find(key_id)
        if found is None:
            raise NotFound(f"key {key_id!r}: there is no such key")
        if found["revoked_at"] is not None:
            return False
        self._connection.execute(
            update(api_key).where(api_key.c.key_id == key_id).values(revoked_at=at)
        )
        return True

    def note_uses(self, uses: Mapping[str, datetime]) -> None:
        """Store when keys were last used; an earlier time never replaces a later one."""
        for key_id, at in uses.items():
            self._connection.execute(
                update(api_key)
                .where(
                    api_key.c.key_id == key_id,
                    or_(api_key.c.last_used_at.is_(None), api_key.c.last_used_at < at),
                )
                .values(last_used_at=at)
            )

    def _find(self, key_id: str) -> RowMapping | None:
        return (
            self._connection.execute(select(api_key).where(api_key.c.key_id == key_id))
            .mappings()
            .one_or_none()
        )


def _values(key: ApiKey) -> dict[str, Any]:
    return {
        "key_id": key.key_id,
        "name": key.name,
        "farm_id": key.farm_id,
        "scopes": " ".join(sorted(key.scopes)),
        "sha256": key.sha256,
        "created_at": key.created_at,
        "expires_at": key.expires_at,
        "revoked_at": key.revoked_at,
        "last_used_at": key.last_used_at,
    }


def _key_from(row: RowMapping) -> ApiKey:
    return ApiKey(**{**row, "scopes": frozenset(row["scopes"].split())})
