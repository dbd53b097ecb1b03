"""What an operator must hear of before growers do, beside the state of the scheduler.

Nothing is changed; the number of queries is the same for one farm as for a thousand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.database.session import UnitOfWorkFactory
from service.operations.schedule.due_jobs import EVENING, WEATHER
from service.operations.schedule.watch_farms import SILENT_AFTER
from service.ports import Clock
from service.records.mail import MailBacklog
from service.records.schedule import JobRun

RUNS_SEEN = timedelta(days=1)
REFRESH_LATE = timedelta(hours=1)
"""A source that has been asked in vain for so long is said to fail; our own choice."""


@dataclass(frozen=True, slots=True)
class Signals:
    """The numbers that alerts are made of."""

    mails: MailBacklog
    polls: Mapping[str, datetime]
    """The last poll of each controller in use that ever polled."""
    silent_controller_count: int
    without_weather_count: int
    """Plans of today and later that could not be made for want of weather."""
    failing_refresh_count: int
    """Refreshes of weather that have been tried in vain for an hour or more."""
    evening_margin: timedelta | None
    """From the end of an evening to the hour of its farm, the shortest within a day; negative for a
    late one, None where there was none."""
    free_bytes: int | None
    """Room on the disk of the database; None where it is a server's."""


def read_signals(
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    evening_lead_min: int,
    free_bytes: Callable[[], int | None],
) -> Signals:
    """The signals now, of all farms."""
    now = clock.now()
    with unit_of_work(write=False) as unit:
        farm_keys = np.array(sorted(unit.blocks.farm_keys().values()), dtype=np.int64)
        polls = unit.standings.read_polls(farm_keys)
        runs = unit.runs.list_runs(first_due_at=now - RUNS_SEEN)
        return Signals(
            mails=unit.outbox.read_backlog(),
            polls={poll.controller_id: poll.polled_at for poll in polls},
            silent_controller_count=sum(now - poll.polled_at >= SILENT_AFTER for poll in polls),
            # Where it is already tomorrow, today's plan is the one that runs.
            without_weather_count=unit.standings.count_without_weather(
                first_day=now.date() - ONE_DAY
            ),
            failing_refresh_count=sum(
                run.job == WEATHER and run.state != "done" and now - run.due_at >= REFRESH_LATE
                for run in runs
            ),
            evening_margin=_shortest_margin(runs, timedelta(minutes=evening_lead_min)),
            free_bytes=free_bytes(),
        )


def _shortest_margin(runs: Sequence[JobRun], lead: timedelta) -> timedelta | None:
    return min(
        (
            run.due_at + lead - run.changed_at
            for run in runs
            if run.job == EVENING and run.state == "done"
        ),
        default=None,
    )
