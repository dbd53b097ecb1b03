"""The databases that the tests of this folder run on."""

from tests.databases import (
    database_kind,
    database_url,
    empty_url,
    engine,
    migrated,
    open_unit,
    own_url,
    shared_url,
)

__all__ = [
    "database_kind",
    "database_url",
    "empty_url",
    "engine",
    "migrated",
    "open_unit",
    "own_url",
    "shared_url",
]
