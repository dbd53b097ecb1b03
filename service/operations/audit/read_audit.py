"""Reading the record of changes."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from service.database.session import UnitOfWorkFactory
from service.records.audit import AuditEntry, Subject


@dataclass(frozen=True, slots=True)
class AuditPage:
    """A page of changes."""

    entries: tuple[AuditEntry, ...]
    has_more: bool


def read_audit(
    farm_id: str,
    *,
    count: int,
    unit_of_work: UnitOfWorkFactory,
    older_than: int | None = None,
    subjects: Collection[Subject] = (),
    about: Collection[tuple[Subject | None, str]] = (),
    between: tuple[datetime | None, datetime | None] = (None, None),
) -> AuditPage:
    """Changes of a farm, the newest first; raises NotFound for an unknown farm.

    older_than: the key of the last entry of the page before. about: only entries about one of these
    things, without a subject of any. between: none from before the first
    instant, nor from the second on.
    """
    with unit_of_work(write=False) as unit:
        unit.blocks.get_farm(farm_id)
        found = unit.audit.list_entries(
            farm_id,
            count=count + 1,
            older_than=older_than,
            subjects=subjects,
            about=about,
            between=between,
        )
    return AuditPage(tuple(found[:count]), len(found) > count)


def follow_audit(
    farm_id: str | None, *, after: int, count: int, unit_of_work: UnitOfWorkFactory
) -> AuditPage:
    """Changes that follow an entry, in the order of time: of a farm, or (None) of every farm.

    after: the key of the last entry that the caller has, 0 for none.
    """
    with unit_of_work(write=False) as unit:
        found = unit.audit.list_entries(farm_id, count=count + 1, newer_than=after)
    return AuditPage(tuple(found[:count]), len(found) > count)
