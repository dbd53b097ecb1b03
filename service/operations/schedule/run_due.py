"""Do what is due, once: claim, work, keep the claim alive, settle.

Any number of processes may do this at the same time on one database. A run belongs to the process
whose claim was committed; the others skip it. Claims are leases: a process that dies stops
renewing them, and after ``LEASE_S`` another one takes over. Work may therefore begin twice, but
all of it can be repeated safely: plans that have not changed make no new version, ledgers and
weather are stored by key, and what is pruned is gone. A run is marked as done only
by the process that holds it, so it is done once.

Farms whose evenings are due together are planned by one call of ``run_day``, since the weather of
a region is computed once per call; their runs are claimed and settled one by one, each group in one
transaction. A farm that fails is given back and tried again later, alone; one whose database was
away, at the next tick. While another process fetches weather, evenings wait for it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial

from service.database.run_ledger_store import RunLedger
from service.database.session import UnitOfWork
from service.errors import StorageAway, StorageFailed
from service.logs import get_logger, log_context
from service.operations.schedule.do_jobs import do_evenings, do_prune, do_refresh, do_repairs
from service.operations.schedule.due_jobs import (
    EVENING,
    PRUNE,
    REPAIR,
    WEATHER,
    DueRun,
    list_due,
)
from service.operations.schedule.duties import Duties, JobResult

RETRY_AFTER = timedelta(minutes=15)
FARMS_AT_A_TIME = 100
"""[CHOICE] Farms claimed together: enough that what a call costs is shared, few enough that several
processes find something to do."""
EVENINGS_WAIT = timedelta(minutes=10)
"""[CHOICE] How long evenings that are due wait for weather that another process is fetching: as
long as a fetch may take, and well within the lead that evenings have."""
COVERED = "covered"
log = get_logger(__name__)


@dataclass(slots=True)
class DueOutcome:
    """What was done about the runs that were due."""

    finished: dict[str, str] = field(default_factory=dict)
    """Outcome by run key."""
    given_back: dict[str, str] = field(default_factory=dict)
    """Reason by run key; tried again later."""
    passed_by: list[str] = field(default_factory=list)
    """Run keys that another process holds, that wait for a retry, or that were given up."""
    lost: list[str] = field(default_factory=list)
    """Run keys that another process took over meanwhile."""


_Work = Callable[[Duties, Sequence[DueRun]], Mapping[str, JobResult]]


def run_due(duties: Duties) -> DueOutcome:
    """Do everything that is due now and that no other process is doing."""
    outcome = DueOutcome()
    due = _look(duties)
    for group, work in _pieces(due):
        if duties.should_stop():
            break
        _do(duties, group, work, outcome)
    return outcome


def is_work_due(duties: Duties) -> bool:
    """Whether :func:`run_due` would find anything that it may claim; counts as a sign of life."""
    keys = [run.run_key for run in _look(duties)]
    with duties.unit_of_work(write=False) as unit:
        return bool(set(keys) - unit.runs.list_kept(keys, now=duties.clock.now()))


def _look(duties: Duties) -> list[DueRun]:
    """What is due; other processes see that a scheduler has looked."""
    with duties.unit_of_work(write=True, farm_keys=()) as unit:
        unit.runs.note_tick(owner=duties.owner, now=duties.lease_now(unit))
    with duties.unit_of_work(write=False) as unit:
        due = list_due(
            unit,
            now=duties.clock.now(),
            sources=tuple(duties.refreshers),
            evening_lead_min=duties.evening_lead_min,
        )
        ready = _after_fetches(duties, unit, due)
        if len(ready) < 2:
            return list(ready)
        return _by_place(ready, unit.weather.list_first_places())


def _after_fetches(duties: Duties, unit: UnitOfWork, due: Sequence[DueRun]) -> Sequence[DueRun]:
    """What is due, without the evenings that wait for weather that another process is fetching.

    One process alone fetches before it plans; so it is for several.
    """
    fetches = [run.run_key for run in due if run.job == WEATHER]
    held = unit.runs.list_held(fetches, owner=duties.owner, now=duties.lease_now(unit))
    now, seen = duties.clock.now(), duties.fetches_seen
    for key in seen.keys() - held:
        del seen[key]
    for key in held:
        seen.setdefault(key, now)
    if all(now - first >= EVENINGS_WAIT for first in seen.values()):
        return due
    return [run for run in due if run.job != EVENING]


def _by_place(due: Sequence[DueRun], place_of: Mapping[str, int]) -> list[DueRun]:
    """The same runs with those of farms that draw on the same weather side by side.

    They are planned by one process, which reads that weather once.
    """
    order: dict[tuple[str, date | None], int] = {}
    for run in due:
        order.setdefault((run.job, run.on), len(order))
    return sorted(due, key=lambda run: (order[run.job, run.on], place_of.get(run.farm_id or "", 0)))


def _pieces(due: Sequence[DueRun]) -> Iterator[tuple[Sequence[DueRun], _Work]]:
    """The groups of runs that are done in one go, in due order."""
    farm_runs: dict[tuple[str, date | None], list[DueRun]] = {}
    for run in due:
        if run.job == WEATHER:
            yield [run], do_refresh
        elif run.job in {EVENING, REPAIR}:
            farm_runs.setdefault((run.job, run.on), []).append(run)
    for (job, _), runs in farm_runs.items():
        for start in range(0, len(runs), FARMS_AT_A_TIME):
            yield (
                runs[start : start + FARMS_AT_A_TIME],
                do_evenings if job == EVENING else do_repairs,
            )
    for run in due:
        if run.job == PRUNE:
            yield [run], do_prune


# --- claiming and settling ---------------------------------------------------------------------


def _do(duties: Duties, group: Sequence[DueRun], work: _Work, outcome: DueOutcome) -> None:
    claimed, covered_by = _claim(duties, group)
    keys = [run.run_key for run in claimed]
    outcome.passed_by += sorted({run.run_key for run in group}.difference(keys))
    if not claimed:
        return
    job = claimed[0].job
    duties.checkpoint(f"{job} claimed")
    about = {"run_key": keys[0]} if len(keys) == 1 else {"job": job, "run_count": len(keys)}
    with (
        log_context(**about),
        _heartbeat(duties, [*keys, *(key for each in covered_by.values() for key in each)]),
    ):
        began = time.perf_counter()
        try:
            results = work(duties, claimed)
        except Exception as failure:  # no failure may end the scheduler
            reason = f"{type(failure).__name__}: {failure}"
            log.exception("work failed", reason=reason)
            is_away = isinstance(failure, StorageAway)
            results = {key: JobResult(reason=reason, is_away=is_away) for key in keys}
        _settle(duties, results, covered_by, outcome)
        _log_results(results, outcome, spent_s=time.perf_counter() - began)
    duties.checkpoint(f"{job} settled")


def _log_results(results: Mapping[str, JobResult], outcome: DueOutcome, *, spent_s: float) -> None:
    """Log a line for each run that was done; the scheduler logs those given back or lost."""
    seconds = round(spent_s, 3)
    for run_key, result in results.items():
        if run_key in outcome.finished:
            log.info("run done", run_key=run_key, outcome=result.outcome, seconds=seconds)


def _claim(duties: Duties, group: Sequence[DueRun]) -> tuple[list[DueRun], dict[str, list[str]]]:
    """The runs of a group that we now hold, and the missed ones that each of them covers."""
    with duties.unit_of_work(write=True, farm_keys=()) as unit:
        claim = partial(
            unit.runs.claim_all,
            owner=duties.owner,
            now=duties.lease_now(unit),
            lease_s=duties.lease_s,
        )
        ours = claim(group)
        claimed = [run for run in group if run.run_key in ours]
        covered = claim([missed for run in claimed for missed in run.covers])
    return claimed, {
        run.run_key: [each.run_key for each in run.covers if each.run_key in covered]
        for run in claimed
    }


def _settle(
    duties: Duties,
    results: Mapping[str, JobResult],
    covered_by: Mapping[str, Sequence[str]],
    outcome: DueOutcome,
) -> None:
    """Finish what went well and all that it covers, give back the rest, in one transaction."""
    result_of = dict(results)
    for run_key, result in results.items():
        own = result if result.outcome is None else JobResult(outcome=COVERED)
        result_of.update(dict.fromkeys(covered_by[run_key], own))
    with duties.unit_of_work(write=True, farm_keys=()) as unit:
        kept = _settle_all(duties, unit.runs, result_of, now=duties.lease_now(unit))
    for key, own in result_of.items():
        if key not in kept:
            outcome.lost.append(key)
        elif own.outcome is None:
            outcome.given_back[key] = own.reason
        else:
            outcome.finished[key] = own.outcome


def _settle_all(
    duties: Duties, runs: RunLedger, result_of: Mapping[str, JobResult], *, now: datetime
) -> set[str]:
    """Settle runs that ended alike together; returns the keys of those that were still ours."""
    alike: dict[tuple[str | None, datetime], list[str]] = {}
    for key, result in result_of.items():
        soonest = now if result.is_away else now + RETRY_AFTER
        retry_at = max(result.retry_at or now, soonest)
        alike.setdefault((result.outcome, retry_at), []).append(key)
    kept: set[str] = set()
    for (outcome, retry_at), keys in alike.items():
        if outcome is None:
            kept |= runs.give_back_all(keys, owner=duties.owner, now=now, retry_at=retry_at)
        else:
            kept |= runs.finish_all(keys, owner=duties.owner, now=now, outcome=outcome)
    return kept


@contextmanager
def _heartbeat(duties: Duties, run_keys: Sequence[str]) -> Iterator[None]:
    """Renew the leases from a separate thread while the block runs; waits for no evening."""
    is_over = threading.Event()

    def beat() -> None:
        while not is_over.wait(duties.heartbeat_s):
            try:
                with duties.unit_of_work(write=True, farm_keys=()) as unit:
                    now = duties.lease_now(unit)
                    unit.runs.note_tick(owner=duties.owner, now=now)
                    unit.runs.renew_all(
                        run_keys, owner=duties.owner, now=now, lease_s=duties.lease_s
                    )
            except StorageFailed:
                # The database is away, or our own long write holds a SQLite file: the next beat
                # tries again, and nobody else can claim either while the file is held.
                continue

    thread = threading.Thread(target=beat, name="heartbeat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()
