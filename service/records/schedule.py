"""Runs of the scheduled jobs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class JobRun:
    """One run of a job as the run ledger has it."""

    run_key: str
    job: str
    due_at: datetime
    state: str
    """``claimed``, ``waiting`` or ``done``."""
    owner: str
    """The process that claimed it last."""
    held_until: datetime
    """End of the lease, or the instant from which it may be retried."""
    attempt_count: int
    changed_at: datetime
    outcome: str | None
    """Its outcome, once it is done."""
