"""Changes of a place that several farms may draw on: each of them has the entry."""

from __future__ import annotations

import numpy as np

from service.database.session import UnitOfWork
from service.records.audit import Subject


def note_at_site(
    unit: UnitOfWork, subject: Subject, site_id: str, *, before: object = None, after: object = None
) -> None:
    """Note a change at a place for every farm that uses it; once for none where no farm does.

    An actor who is bound to a farm is not shown to the others.
    """
    key = unit.blocks.get_site_key(site_id)
    users = unit.blocks.find_users(np.array([key], dtype=np.int64)).get(key, ())
    farms = [each for each in users if unit.audit.actor.may_touch(each)]
    shown_to: list[str | None] = [*farms] or [None]
    for farm_id in shown_to:
        unit.audit.note(subject, site_id, farm_id=farm_id, before=before, after=after)
