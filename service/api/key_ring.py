"""The valid keys by their hash, as held by this process.

All keys are held in memory and reloaded when the change marks show that one was made or revoked, so
a check is one hash and one look-up. A random key of 160 bits or more cannot be searched for, so a
plain hash of it is enough.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Final

from service.api.news import News
from service.database.session import UnitOfWork
from service.records.access import ApiKey

TOPIC: Final = "keys"


class KeyRing:
    """Keys by hash, as current as the last check for changes."""

    def __init__(self, news: News) -> None:
        self._keys: Mapping[str, ApiKey] | None = None
        news.listen(TOPIC, _read_keys, self._hear)

    def find(self, presented: bytes) -> ApiKey | None:
        """The key that a caller presents, valid or not; None if there is no such key."""
        return (self._keys or {}).get(hashlib.sha256(presented).hexdigest())

    @property
    def is_empty(self) -> bool:
        """True if no key was ever made; False before the first check for changes, when nothing
        is known.
        """
        return self._keys is not None and not self._keys

    def _hear(self, found: object) -> None:
        if isinstance(found, list):
            self._keys = {key.sha256: key for key in found}


def _read_keys(unit: UnitOfWork, _mark: int) -> list[ApiKey]:
    return unit.keys.list_keys()
