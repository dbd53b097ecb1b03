"""Old data is deleted: raw answers of weather services, members of ensembles, days on paper, runs
long done.

Pruning again at once deletes nothing more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from service.database.session import UnitOfWorkFactory
from service.ports import Clock
from service.records.shadow import KEPT_DAYS

PAYLOADS_KEPT = timedelta(days=30)
"""Long enough to replay a day that somebody asks about; our choice."""
RUNS_KEPT = timedelta(days=400)
"""Longer than anything looks back, and a season can be compared with the last one."""
MEMBERS_KEPT = timedelta(days=90)
"""So that each lead has the sixty pairs from which its skill is judged; our choice."""
WEIGHTS_KEPT = timedelta(days=2)
"""Quotas are counted by the hour and the day."""


@dataclass(frozen=True, slots=True)
class Pruned:
    """What was deleted."""

    payload_count: int
    issue_count: int
    """Issues of ensembles."""
    job_run_count: int


def prune_payloads(*, unit_of_work: UnitOfWorkFactory, clock: Clock) -> Pruned:
    """Delete old payloads and old runs, in one transaction."""
    now = clock.now()
    with unit_of_work(write=True) as unit:
        unit.members.prune_weights(before=now - WEIGHTS_KEPT)
        unit.shadows.prune(before=(now - timedelta(days=KEPT_DAYS)).date())
        return Pruned(
            issue_count=unit.members.prune(before=(now - MEMBERS_KEPT).date()),
            payload_count=unit.payloads.prune(before=now - PAYLOADS_KEPT),
            job_run_count=unit.runs.prune(before=now - RUNS_KEPT),
        )
