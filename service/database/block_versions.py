"""Which version of a block is in force, as conditions of statements; and blocks by name."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, exists, select

from service.database.tables import block, block_version, farm, site, supply


def find_block_keys(connection: Connection, block_id: str) -> dict[str, int]:
    """Keys by full name of the blocks that a name may mean: one, none, or several farms' blocks."""
    full = connection.execute(
        select(block.c.block_id, block.c.block_key).where(block.c.block_id == block_id)
    )
    found = dict(full.all())
    if found or "." in block_id:
        return found
    short = connection.execute(
        select(block.c.block_id, block.c.block_key).where(block.c.short_id == block_id)
    )
    return dict(short.all())


_OTHER = block_version.alias("other_version")  # once: its columns take a millisecond


def is_newest(*, day: date | None = None) -> ColumnElement[bool]:
    """Condition that no later version of the same block is valid, by ``day`` if one is given.

    As an absence, and not as the greatest number: before PostgreSQL knows anything of a table that
    was just filled, it would work out that number for every block, once for each that is wanted.
    """
    later = [_OTHER.c.block_key == block_version.c.block_key]
    later.append(_OTHER.c.version > block_version.c.version)
    if day is not None:
        later.append(_OTHER.c.valid_from <= day)
    return ~exists(select(_OTHER.c.version).where(*later))


def in_force(query: Select[Any], day: date) -> Select[Any]:
    """Only the version of each block that is in force on ``day``."""
    return query.where(
        is_newest(day=day),
        block_version.c.valid_from <= day,
        block_version.c.is_retired.is_(False),
    )


def definitions_in_force(day: date) -> Select[Any]:
    """Blocks in force with the names that a definition needs."""
    return in_force(
        select(block_version, block.c.block_id, farm.c.farm_id, supply.c.supply_id, site.c.site_id)
        .join_from(block_version, block, block.c.block_key == block_version.c.block_key)
        .join(farm, farm.c.farm_key == block.c.farm_key)
        .join(supply, supply.c.supply_key == block_version.c.supply_key)
        .join(site, site.c.site_key == block_version.c.site_key),
        day,
    )
