"""The clock of the database server for work that several hosts share under leases.

The clocks of hosts may disagree by more than a lease lasts: whoever is ahead would take over what
another is about to send.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from service.database.session import UnitOfWorkFactory
from service.ports import Clock


@dataclass(frozen=True, slots=True)
class ShiftedClock:
    """A clock that is put right by a constant."""

    clock: Clock
    by: timedelta

    def now(self) -> datetime:
        """The present."""
        return self.clock.now() + self.by


def shared_clock(clock: Clock, unit_of_work: UnitOfWorkFactory) -> Clock:
    """The server's clock as of now, which goes on as ours does; ours where there is no server."""
    with unit_of_work(write=False) as unit:
        theirs = unit.runs.server_time()
    return clock if theirs is None else ShiftedClock(clock, theirs - clock.now())
