"""Plans that are past are made small, so that years of them fit beside the present.

A plan is packed once nobody looks at it daily; every word of it stays readable. Versions that were
replaced by others are deleted after some months. Balances, runs and observations are kept for good.
Doing it again at once changes nothing more. Where those of the coming months go is made ready too.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWorkFactory
from service.ports import Clock

WHOLE_FOR = timedelta(days=14)
"""[CHOICE] What pages, mails and weekly programs look back at stays as it was written."""
VERSIONS_KEPT = timedelta(days=100)
"""[CHOICE] So long one can see what a report or a new forecast changed."""


@dataclass(frozen=True, slots=True)
class Retained:
    """What was made small."""

    packed_count: int
    thinned_count: int


def retain_plans(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> Retained:
    """Pack and thin what is old enough, in short transactions."""
    today = clock.now().date()
    with unit_of_work(write=True) as unit:
        unit.retention.prepare_months(today=today)
    with unit_of_work(write=True) as unit:
        thinned_count = unit.retention.thin(before=today - VERSIONS_KEPT)
    packed_count = 0
    while True:
        with unit_of_work(write=True) as unit:
            count = unit.retention.pack(before=today - WHOLE_FOR)
        if not count:
            return Retained(packed_count, thinned_count)
        packed_count += count
