"""Old data is deleted: raw answers of weather services, and runs long done.

Pruning again at once deletes nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWorkFactory
from service.ports import Clock

PAYLOADS_KEPT = timedelta(days=30)
"""Long enough to replay a day that somebody asks about; our choice."""
RUNS_KEPT = timedelta(days=400)
"""Longer than anything looks back, and a season can be compared with the last one."""


@dataclass(frozen=True, slots=True)
class Pruned:
    """What was deleted."""

    payload_count: int
    job_run_count: int


def prune_payloads(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> Pruned:
    """Delete old payloads and old runs, in one transaction."""
    now = clock.now()
    with unit_of_work(write=True) as unit:
        return Pruned(
            payload_count=unit.payloads.prune(before=now - PAYLOADS_KEPT),
            job_run_count=unit.runs.prune(before=now - RUNS_KEPT),
        )
