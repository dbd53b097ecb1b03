"""What a scheduler works with, and how one run of a job went."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from service.agronomy.records import Ints
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.turn import ChangeThreshold
from service.ports import AfterPublish, Clock, RefreshWeather

LEASE_S = 30
HEARTBEAT_S = 8.0
"""Three renewals may fail before a lease ends."""
EVENING_LEAD_MIN = 45


@dataclass(frozen=True, slots=True, kw_only=True)
class Duties:
    """What a scheduler works with."""

    owner: str
    """Name of this process, unique among those that share the database."""
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    source_order: Mapping[str, int]
    refreshers: Mapping[str, RefreshWeather] = field(default_factory=dict)
    """By source; sources that are not listed are not queried."""
    unanswered: dict[tuple[str, ...], Ints] = field(default_factory=dict)
    """Keys of the sites for which nothing came, by the run keys that a refresh settles; kept by
    this process, so that only these are asked for again. Another process asks for all.
    """
    fetches_seen: dict[str, datetime] = field(default_factory=dict)
    """When this process first saw another one fetch weather that evenings wait for, by run key."""
    evening_lead_min: int = EVENING_LEAD_MIN
    supersedes_from: ChangeThreshold = field(default_factory=ChangeThreshold)
    """How much the minutes of a plan that is out must change for later weather to replace it."""
    after_publish: AfterPublish | None = None
    """Called when an evening publishes plans, in the same transaction."""
    lease_s: int = LEASE_S
    heartbeat_s: float = HEARTBEAT_S
    checkpoint: Callable[[str], None] = lambda _name: None
    """Called at ``evening claimed``, ``evening planned``, ``evening settled`` and likewise for the
    other jobs (``weather fetched``); a test may end the process there."""
    should_stop: Callable[[], bool] = lambda: False
    """Checked between pieces of work."""
    shared_clock: Callable[[UnitOfWork], datetime | None] = lambda _unit: None
    """The clock by which leases are held, the same for all who share the database; None: our own,
    which will do for one machine."""

    def lease_now(self, unit: UnitOfWork) -> datetime:
        """The present as leases know it."""
        return self.shared_clock(unit) or self.clock.now()


@dataclass(frozen=True, slots=True)
class JobResult:
    """Result of one run: an outcome, or why it is given back and until when."""

    outcome: str | None = None
    reason: str = ""
    retry_at: datetime | None = None
    is_away: bool = False
    """Whether the database was away: it is tried again at the next tick."""
