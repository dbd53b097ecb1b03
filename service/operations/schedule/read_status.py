"""How the service itself is doing: the scheduler's heartbeat, what is due, how old the weather is.

Nothing is changed. The number of queries is the same for one farm as for a thousand, so this can be
polled every few seconds.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum

import numpy as np

from service.agronomy.civil_day import ONE_DAY, day_length_min, midnight_utc
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import NotFound
from service.operations.backups.keep_backups import backup_finding, last_backup_at
from service.operations.evening.own_rain import freshness_of
from service.operations.reading.read_farms import local_day
from service.operations.schedule.due_jobs import (
    EVENING,
    PRUNE,
    REPAIR,
    WEATHER,
    evening_due_at,
    latest_evening,
    list_due,
)
from service.ports import Clock
from service.records.events import Backlog
from service.records.farms import FarmDefinition, SiteDefinition
from service.records.schedule import JobRun
from service.records.weather import BreakerState, SiteFreshness

JOBS = (EVENING, REPAIR, WEATHER, PRUNE)
TICK_LATE = timedelta(minutes=3)
"""The scheduler looks three times a minute; after this long something is wrong."""
TICK_LOST = timedelta(minutes=10)
CLOCK_TOLERANCE = timedelta(seconds=5)
"""A tick further ahead than this was written by a machine whose clock differs from ours."""
RUNS_SHOWN = timedelta(days=8)
RUNS_COUNTED = timedelta(days=1)
WEATHER_SHOWN_DAYS = 30
STALE_FORECAST = timedelta(hours=24)
STALE_OBSERVED_DAYS = 2
NAMED_IN_FINDING = 5


class Verdict(StrEnum):
    """State of a part of the service."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class FarmRuns:
    """The evenings of one farm."""

    farm_id: str
    last_run: JobRun | None
    """The latest evening within RUNS_SHOWN that any process has claimed."""
    next_due_at: datetime
    """When the next evening is due; in the past for one that is due and not done."""
    is_overdue: bool
    """Whether the farm's issue time has passed without its plans."""


@dataclass(frozen=True, slots=True)
class SiteAge:
    """How old the weather of one site is."""

    site_id: str
    last_observed_day: date | None
    """Last day on which all was measured that reference ET takes from measurements here."""
    measured_until: Mapping[str, date]
    """By group of fields (temperature, humidity, wind, radiation, rain), its last measured day."""
    observed_age: timedelta | None
    """Since the end of that local day."""
    forecast_issued_at: datetime | None
    forecast_age: timedelta | None
    forecast_until_day: date | None
    is_stale: bool
    """Whether tomorrow's plan would rest on old or bridged weather."""


@dataclass(frozen=True, slots=True)
class ServiceStatus:
    """The state of the service at one instant."""

    at: datetime
    last_tick_at: datetime | None
    watchdog: Verdict
    due_counts: Mapping[str, int]
    """Runs that are due and not done, by job."""
    run_counts: Mapping[tuple[str, str], int]
    """Runs that were due within RUNS_COUNTED and have been claimed, by job and state."""
    farms: tuple[FarmRuns, ...]
    sites: tuple[SiteAge, ...]
    breakers: tuple[BreakerState, ...]
    events: Backlog
    """Events that wait to be sent to other systems, of all farms."""
    last_backup_at: datetime | None
    """When the last backup on schedule was finished; None: not lately, or never."""
    findings: tuple[str, ...]
    """What needs attention, in words."""

    @property
    def verdict(self) -> Verdict:
        """The watchdog's verdict, or a worse one where the findings ask for it."""
        if self.watchdog is Verdict.PASS and self.findings:
            return Verdict.WARN
        return self.watchdog

    def is_open(self, breaker: BreakerState) -> bool:
        """Whether requests to what this breaker guards are blocked."""
        return breaker.open_until is not None and self.at < breaker.open_until


def check_ready(*, unit_of_work: UnitOfWorkFactory, check_storage: Callable[[], None]) -> None:
    """Raise StorageFailed unless the database answers, is of this version and takes writes."""
    check_storage()
    with unit_of_work(write=False) as unit:
        unit.runs.last_tick_at()


def read_status(
    *,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    sources: Sequence[str],
    evening_lead_min: int,
    farm_id: str | None = None,
    runs_since: timedelta = RUNS_SHOWN,
    backup_alarm_after: timedelta | None = None,
) -> ServiceStatus:
    """The state now, of all farms and sites or of one farm's; raises NotFound for an unknown farm.

    ``runs_since`` is how far back runs are read; ``backup_alarm_after`` is how old the last backup
    may be (None: none are expected).
    """
    now = clock.now()
    with unit_of_work(write=False) as unit:
        farms, sites, fresh = _read_farms(unit, farm_id, now)
        last_tick_at = unit.runs.last_tick_at()
        runs = unit.runs.list_runs(first_due_at=now - runs_since)
        due = list_due(
            unit, now=now, sources=sources, evening_lead_min=evening_lead_min, looks_back=False
        )
        breakers = tuple(unit.breakers.list_states())
        events = unit.events.read_backlog()
        backed_up_at = last_backup_at(unit, now)
    due_keys = {run.run_key for run in due}
    due_counts = Counter(run.job for run in due)
    run_counts = Counter((run.job, run.state) for run in runs if run.due_at >= now - RUNS_COUNTED)
    last_runs = {run.run_key.split(":")[1]: run for run in runs if run.job == EVENING}
    status = ServiceStatus(
        at=now,
        last_tick_at=last_tick_at,
        watchdog=watchdog_verdict(last_tick_at, now),
        due_counts={job: due_counts[job] for job in JOBS},
        run_counts=dict(sorted(run_counts.items())),
        farms=_farm_runs(
            farms, now, lead_min=evening_lead_min, due_keys=due_keys, last_runs=last_runs
        ),
        sites=tuple(site_age(site, found, now) for site, found in zip(sites, fresh, strict=True)),
        breakers=breakers,
        events=events,
        last_backup_at=backed_up_at,
        findings=(),
    )
    backup = backup_finding(backed_up_at, now, alarm_after=backup_alarm_after)
    return replace(status, findings=(*_findings(status), *([backup] if backup else [])))


def watchdog_verdict(last_tick_at: datetime | None, now: datetime) -> Verdict:
    """Whether a scheduler is running; if none ever ran, that is a warning, not a failure."""
    if last_tick_at is None:
        return Verdict.WARN
    silent = now - last_tick_at
    if silent > TICK_LOST:
        return Verdict.FAIL
    return Verdict.WARN if silent > TICK_LATE or silent < -CLOCK_TOLERANCE else Verdict.PASS


def _read_farms(
    unit: UnitOfWork, farm_id: str | None, now: datetime
) -> tuple[list[FarmDefinition], tuple[SiteDefinition, ...], list[SiteFreshness]]:
    farms = unit.blocks.list_farms()
    keys, farm_key = None, None
    if farm_id is not None:
        farms = [farm for farm in farms if farm.farm_id == farm_id]
        if not farms:
            raise NotFound(f"farm {farm_id!r}: there is no such farm")
        farm_key = unit.blocks.farm_keys([farm_id])[farm_id]
        keys = unit.blocks.list_site_keys(np.array([farm_key], dtype=np.int64))
    table = unit.blocks.read_site_table(keys)
    first_day = now.date() - timedelta(days=WEATHER_SHOWN_DAYS)
    fresh = freshness_of(unit, table.keys, first_day=first_day, farm_key=farm_key)
    return farms, table.definitions, fresh


def _farm_runs(
    farms: Sequence[FarmDefinition],
    now: datetime,
    *,
    lead_min: int,
    due_keys: Set[str],
    last_runs: Mapping[str, JobRun],
) -> tuple[FarmRuns, ...]:
    # Farms of a region mostly share zone and issue time, and each search takes some time
    # arithmetic.
    last_and_next: dict[tuple[str, int], tuple[date, datetime, datetime]] = {}
    found = []
    for farm in farms:
        key = (farm.zone, farm.issue_wall_min)
        if key not in last_and_next:
            last_and_next[key] = _last_and_next(farm, now, lead_min)
        day, due_at, next_at = last_and_next[key]
        is_due = f"{EVENING}:{farm.farm_id}:{day.isoformat()}" in due_keys
        found.append(
            FarmRuns(
                farm_id=farm.farm_id,
                last_run=last_runs.get(farm.farm_id),
                next_due_at=due_at if is_due else next_at,
                is_overdue=is_due and now > due_at + timedelta(minutes=lead_min),
            )
        )
    return tuple(found)


def _last_and_next(
    farm: FarmDefinition, now: datetime, lead_min: int
) -> tuple[date, datetime, datetime]:
    """Date and due time of the last evening, and due time of the one after it."""
    day, due_at = latest_evening(farm, now, evening_lead_min=lead_min)
    following = day + ONE_DAY
    while day_length_min(following, farm.zone) == 0:
        following += ONE_DAY
    return day, due_at, evening_due_at(farm, following, evening_lead_min=lead_min)


def site_age(site: SiteDefinition, fresh: SiteFreshness, now: datetime) -> SiteAge:
    """How old the weather of a site is."""
    last, issued_at = fresh.last_measured_day, fresh.forecast_issued_at
    observed_age = None
    if last is not None:
        observed_age = max(now - midnight_utc(last + ONE_DAY, site.zone), timedelta(0))
    forecast_age = None if issued_at is None else max(now - issued_at, timedelta(0))
    today = local_day(now, site.zone)
    return SiteAge(
        site_id=site.site_id,
        last_observed_day=last,
        measured_until=fresh.measured_until,
        observed_age=observed_age,
        forecast_issued_at=issued_at,
        forecast_age=forecast_age,
        forecast_until_day=fresh.forecast_until_day,
        is_stale=(
            last is None
            or (today - last).days > STALE_OBSERVED_DAYS
            or forecast_age is None
            or forecast_age > STALE_FORECAST
            or fresh.forecast_until_day is None
            or fresh.forecast_until_day <= today
        ),
    )


def _findings(status: ServiceStatus) -> Iterator[str]:
    if status.last_tick_at is None:
        yield "no scheduler has looked at what is due yet; `rillwright schedule` is one"
    else:
        silent_s = (status.at - status.last_tick_at).total_seconds()
        if silent_s > TICK_LATE.total_seconds():
            yield f"no scheduler has looked at what is due for {silent_s / 60.0:.0f} minutes"
        if silent_s < -CLOCK_TOLERANCE.total_seconds():
            yield f"the clock of a scheduler is {-silent_s:.0f} s ahead of this one"
    overdue = [farm.farm_id for farm in status.farms if farm.is_overdue]
    if overdue:
        yield f"plans are overdue: {_named(overdue)}"
    stale = [site.site_id for site in status.sites if site.is_stale]
    if stale:
        yield f"weather is old or ends too soon: {_named(stale)}"
    held = [state.key for state in status.breakers if status.is_open(state)]
    if held:
        yield f"not asked for now, after failures: {_named(held)}"


def _named(names: Sequence[str]) -> str:
    """The first few names, and how many more there are."""
    more = len(names) - NAMED_IN_FINDING
    shown = ", ".join(names[:NAMED_IN_FINDING])
    return f"{shown} and {more} more" if more > 0 else shown
