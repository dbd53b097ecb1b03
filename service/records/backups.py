"""What a backup says about itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Contents:
    """What a database holds, as far as two copies of it can be compared by it."""

    revision: str | None
    """Of its schema; None: there is none."""
    row_counts: Mapping[str, int]
    """By table."""

    @property
    def row_count(self) -> int:
        """Rows of all tables."""
        return sum(self.row_counts.values())


@dataclass(frozen=True, slots=True)
class Manifest:
    """One backup: when and by what it was made, and what it must hold."""

    made_at: datetime
    service_version: str
    database: str
    """``sqlite`` or ``postgresql``."""
    made_with: str
    """What wrote the copy, with its version: ``SQLite 3.45.1``, ``pg_dump 16.4``."""
    file_name: str
    byte_count: int
    sha256: str
    contents: Contents


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restoration has put in place."""

    manifest: Manifest
    kept_aside: str | None
    """Where what was there before is now; None: there was nothing."""
