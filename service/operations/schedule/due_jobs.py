"""Which jobs are due, decided from the database: those that should have run by now and have not.

Nothing is scheduled ahead and nothing is remembered from one look to the next. A job is named by a
run key, unique per farm and local civil date (or weather source and hour, or UTC date), and the
ledger of runs says which keys are done. Clock changes, restarts, downtime and a second scheduler
therefore need no special rules.

- ``evening:{farm}:{date}`` makes the plans for the day after ``date``. Due some minutes before the
  farm's issue time on that date, so that the plans are out by then.
- ``repair:{farm}:{date}`` computes the ledger of ``date`` again on the morning after, with the
  weather that was measured late. It leaves the plans alone: the day that they are for has begun.
- ``weather:{source}:{date}T{hour}`` asks a source for new weather: for all sites every six hours,
  and for the sites of each farm in the last hour but one before its evening. Ensembles are asked
  for only then, and once a day for sites without a farm, since they take much of a quota.
- ``prune:{date}`` deletes what is too old to keep, once per UTC date.

After days of downtime only the latest evening and the latest repair of a farm are worth running.
The dates missed before them are covered by that run and are marked so, each under its own key.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, day_length_min, first_instant, midnight_utc
from service.agronomy.records import Ints
from service.database.run_ledger_store import RunLedger
from service.database.session import UnitOfWork
from service.operations.reading.read_farms import local_day
from service.records.farms import FarmDefinition
from service.records.forecast_members import ENSEMBLE_SOURCE

EVENING, REPAIR, WEATHER, PRUNE = "evening", "repair", "weather", "prune"
CATCH_UP_DAYS = 31
"""A farm without any run for longer than this starts over: older dates are treated as never due."""
REFRESH_EVERY_H = 6
EVENING_SOURCES = frozenset({ENSEMBLE_SOURCE})
"""Sources that are asked once a day: what they give is for the evening's decision."""
OTHERS_AT_H = 12
"""[CHOICE] UTC hour in which sites that no farm uses are asked for, where that is once a day."""
REFRESH_AHEAD = timedelta(hours=1)
"""The weather is fetched in the UTC hour that contains the moment this long before an evening."""
REPAIR_WALL = time(6)
PRUNE_AT = time(3, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class DueRun:
    """One run that should have happened by now."""

    run_key: str
    job: str
    due_at: datetime
    farm_id: str | None = None
    on: date | None = None
    """Local civil date of an evening or repair."""
    zone: str = "UTC"
    source: str | None = None
    site_keys: Ints | None = None
    """Sites to query a source for; None: all."""
    covers: tuple[DueRun, ...] = ()
    """Runs of earlier dates that were missed and are settled by this one."""


def evening_due_at(farm: FarmDefinition, day: date, *, evening_lead_min: int) -> datetime:
    """When the evening of a civil date is due at a farm: before its issue time, within the date.

    The issue time is the first instant at which the farm's clock shows it on that date or has
    passed it, so due times rise from date to date through every clock change.
    """
    hour, minute = divmod(farm.issue_wall_min, 60)
    issued_at = first_instant(day, time(hour, minute), farm.zone)
    return max(midnight_utc(day, farm.zone), issued_at - timedelta(minutes=evening_lead_min))


def repair_due_at(farm: FarmDefinition, day: date) -> datetime:
    """When the ledger of a civil date is computed again: the morning after it."""
    return first_instant(_later(day, farm.zone), REPAIR_WALL, farm.zone)


def latest_evening(
    farm: FarmDefinition, now: datetime, *, evening_lead_min: int
) -> tuple[date, datetime]:
    """The last civil date whose evening is due by now, and since when.

    A date that the farm's zone skipped has no evening.
    """
    day = local_day(now, farm.zone) + ONE_DAY
    while True:
        if _exists(day, farm.zone):
            due_at = evening_due_at(farm, day, evening_lead_min=evening_lead_min)
            if due_at <= now:
                return day, due_at
        day -= ONE_DAY


def latest_repair(farm: FarmDefinition, now: datetime) -> tuple[date, datetime]:
    """The last civil date whose repair is due by now, and since when."""
    day = local_day(now, farm.zone)
    while True:
        if _exists(day, farm.zone):
            due_at = repair_due_at(farm, day)
            if due_at <= now:
                return day, due_at
        day -= ONE_DAY


def _exists(day: date, zone: str) -> bool:
    return day_length_min(day, zone) > 0


def _later(day: date, zone: str) -> date:
    """The next date that exists in the zone."""
    day += ONE_DAY
    while not _exists(day, zone):
        day += ONE_DAY
    return day


def _earlier(day: date, zone: str) -> date:
    """The last date before it that exists in the zone."""
    day -= ONE_DAY
    while not _exists(day, zone):
        day -= ONE_DAY
    return day


def list_due(
    unit: UnitOfWork,
    *,
    now: datetime,
    sources: Sequence[str],
    evening_lead_min: int,
    looks_back: bool = True,
) -> list[DueRun]:
    """Every run that is due by now and not done, in the order to run them.

    Weather comes first, since evenings need it; then evenings, repairs, and what can wait. A caller
    that only needs to know what is due can skip looking back for the missed dates that runs would
    cover.
    """
    farms = unit.blocks.list_farms()
    evenings = _due_evenings(unit.runs, farms, now, evening_lead_min, looks_back=looks_back)
    repairs = _due_repairs(unit.runs, farms, now, evening_lead_min, looks_back=looks_back)
    often = [source for source in sources if source not in EVENING_SOURCES]
    daily = [source for source in sources if source in EVENING_SOURCES]
    refreshes = [
        *_due_refreshes(unit, farms, now, sources=often, lead_min=evening_lead_min),
        *_due_before_evenings(unit, farms, now, sources=daily, lead_min=evening_lead_min),
    ]
    prunes = _not_done(unit.runs, [_latest_prune(now)], now)
    return [*refreshes, *evenings, *repairs, *prunes]


# --- evenings and repairs ----------------------------------------------------------------------


def _due_evenings(
    runs: RunLedger,
    farms: Sequence[FarmDefinition],
    now: datetime,
    lead_min: int,
    *,
    looks_back: bool,
) -> list[DueRun]:
    latest = []
    for farm in farms:
        day, due_at = latest_evening(farm, now, evening_lead_min=lead_min)
        latest.append(_farm_run(EVENING, farm, day, due_at))

    def earlier(farm: FarmDefinition, day: date) -> DueRun:
        due_at = evening_due_at(farm, day, evening_lead_min=lead_min)
        return _farm_run(EVENING, farm, day, due_at)

    due = _not_done(runs, latest, now)
    return _with_missed(runs, due, farms, earlier, now) if looks_back else due


def _due_repairs(
    runs: RunLedger,
    farms: Sequence[FarmDefinition],
    now: datetime,
    lead_min: int,
    *,
    looks_back: bool,
) -> list[DueRun]:
    """Repairs that are due; none once the next evening is, which does the same and more."""
    latest = []
    for farm in farms:
        day, due_at = latest_repair(farm, now)
        evening, _ = latest_evening(farm, now, evening_lead_min=lead_min)
        if evening <= day:
            latest.append(_farm_run(REPAIR, farm, day, due_at))

    def earlier(farm: FarmDefinition, day: date) -> DueRun:
        return _farm_run(REPAIR, farm, day, repair_due_at(farm, day))

    due = _not_done(runs, latest, now)
    return _with_missed(runs, due, farms, earlier, now) if looks_back else due


def _farm_run(job: str, farm: FarmDefinition, day: date, due_at: datetime) -> DueRun:
    return DueRun(
        run_key=f"{job}:{farm.farm_id}:{day.isoformat()}",
        job=job,
        due_at=due_at,
        farm_id=farm.farm_id,
        on=day,
        zone=farm.zone,
    )


def _with_missed(
    runs: RunLedger,
    latest: Sequence[DueRun],
    farms: Sequence[FarmDefinition],
    earlier: Callable[[FarmDefinition, date], DueRun],
    now: datetime,
) -> list[DueRun]:
    """The runs with the dates missed before them: back to the last date that is done.

    A farm with no run done within CATCH_UP_DAYS has missed nothing: it is new, or starts over.
    Takes one query for each date looked back to; after an ordinary day that is one.
    """
    farm_of = {farm.farm_id: farm for farm in farms}
    missed: dict[str, list[DueRun]] = {run.run_key: [] for run in latest}
    found_done: set[str] = set()
    searching = [(run, run.on) for run in latest if run.on is not None]
    for _ in range(CATCH_UP_DAYS):
        before = [
            (run, earlier(farm, _earlier(day, farm.zone)))
            for run, day in searching
            for farm in [farm_of[run.farm_id or ""]]
        ]
        done = runs.list_done([candidate.run_key for _, candidate in before], now=now)
        searching = []
        for run, candidate in before:
            if candidate.run_key in done:
                found_done.add(run.run_key)
            elif candidate.on is not None:
                missed[run.run_key].append(candidate)
                searching.append((run, candidate.on))
        if not searching:
            break
    return [
        replace(run, covers=tuple(reversed(missed[run.run_key])))
        if run.run_key in found_done
        else run
        for run in latest
    ]


# --- weather and pruning -----------------------------------------------------------------------


def _due_refreshes(
    unit: UnitOfWork,
    farms: Sequence[FarmDefinition],
    now: datetime,
    *,
    sources: Sequence[str],
    lead_min: int,
) -> list[DueRun]:
    """For each source the last six-hourly slot, and the slots before evenings since then.

    Where the six-hourly one is still due it covers the others, as it asks for all sites.
    """
    if not sources:
        return []
    hour = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    for_all = hour - timedelta(hours=hour.hour % REFRESH_EVERY_H)
    farms_of = _slots_ahead_of_evenings(farms, now, lead_min)
    ahead = sorted(slot for slot in farms_of if for_all < slot <= now)
    due = []
    for source in sources:
        whole = _not_done(unit.runs, [_refresh(source, for_all)], now)
        partial = _not_done(unit.runs, [_refresh(source, slot) for slot in ahead], now)
        if whole:
            due.append(replace(whole[0], covers=tuple(partial)))
            continue
        for run in partial:
            farm_keys = unit.blocks.farm_keys(farms_of[run.due_at])
            keys = np.array(sorted(farm_keys.values()), dtype=np.int64)
            due.append(replace(run, site_keys=unit.blocks.list_site_keys(keys)))
    return due


def _due_before_evenings(
    unit: UnitOfWork,
    farms: Sequence[FarmDefinition],
    now: datetime,
    *,
    sources: Sequence[str],
    lead_min: int,
) -> list[DueRun]:
    """For each source the slots before evenings of the last hours, and that of the other sites."""
    if not sources:
        return []
    hour = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    every = sorted(unit.blocks.farm_keys().values())
    others = np.setdiff1d(
        unit.blocks.read_site_table().keys, unit.blocks.list_site_keys(np.array(every, np.int64))
    )
    keys_of: dict[datetime, Ints] = {}
    if others.size:
        keys_of[hour - timedelta(hours=(hour.hour - OTHERS_AT_H) % 24)] = others
    for slot, farm_ids in _slots_ahead_of_evenings(farms, now, lead_min).items():
        if now - timedelta(hours=REFRESH_EVERY_H) < slot <= now:
            farm_keys = np.array(sorted(unit.blocks.farm_keys(farm_ids).values()), dtype=np.int64)
            own = unit.blocks.list_site_keys(farm_keys)
            keys_of[slot] = np.union1d(own, keys_of.get(slot, own))
    due = [
        replace(_refresh(source, slot), site_keys=keys_of[slot])
        for source in sources
        for slot in sorted(keys_of)
    ]
    return _not_done(unit.runs, due, now)


def _slots_ahead_of_evenings(
    farms: Sequence[FarmDefinition], now: datetime, lead_min: int
) -> dict[datetime, list[str]]:
    """Farms by the hour in which their last and their next evening need fresh weather."""
    farms_of: dict[datetime, list[str]] = {}
    for farm in farms:
        day, due_at = latest_evening(farm, now, evening_lead_min=lead_min)
        next_at = evening_due_at(farm, _later(day, farm.zone), evening_lead_min=lead_min)
        for evening_at in (due_at, next_at):
            slot = (evening_at - REFRESH_AHEAD).replace(minute=0, second=0, microsecond=0)
            farms_of.setdefault(slot, []).append(farm.farm_id)
    return farms_of


def _refresh(source: str, slot: datetime) -> DueRun:
    return DueRun(
        run_key=f"{WEATHER}:{source}:{slot:%Y-%m-%dT%H}", job=WEATHER, due_at=slot, source=source
    )


def _latest_prune(now: datetime) -> DueRun:
    today = now.astimezone(UTC).date()
    due_at = datetime.combine(today, PRUNE_AT)
    if due_at > now:
        due_at -= ONE_DAY
    return DueRun(run_key=f"{PRUNE}:{due_at.date().isoformat()}", job=PRUNE, due_at=due_at)


def _not_done(runs: RunLedger, candidates: Sequence[DueRun], now: datetime) -> list[DueRun]:
    done = runs.list_done([run.run_key for run in candidates], now=now)
    return [run for run in candidates if run.run_key not in done]
