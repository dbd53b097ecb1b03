"""Do what is due, once: claim, work, keep the claim alive, settle.

Any number of processes may do this at the same time on one database. A run belongs to the process
whose claim was committed; the others pass it by. Claims are leases: a process that dies stops
renewing them, and after ``LEASE_S`` another one takes over. Work may therefore begin twice, but
every kind of work here can be repeated without trace: plans that say the same make no new version,
ledgers and weather are stored by key, and what is pruned is gone. A run is marked as done only
by the process that holds it, so it is done once.

Farms whose evenings are due together are planned by one call of ``run_day``, since the weather of
a region is computed once per call; their runs are claimed and settled one by one, each group in one
transaction. A farm that fails is given back and tried again later, alone.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from service.agronomy.civil_day import midnight_utc
from service.errors import StorageFailed
from service.operations.due_jobs import EVENING, ONE_DAY, PRUNE, REPAIR, WEATHER, DueRun, list_due
from service.operations.prune_payloads import prune_payloads
from service.operations.run_day import run_day
from service.ports import Clock, RefreshWeather, UnitOfWork, UnitOfWorkFactory

LEASE_S = 30
HEARTBEAT_S = 8.0
"""Three renewals may fail before a lease ends."""
EVENING_LEAD_MIN = 45
RETRY_AFTER = timedelta(minutes=15)
FARMS_AT_A_TIME = 1_000
COVERED = "covered"


@dataclass(frozen=True, slots=True, kw_only=True)
class Duties:
    """What a scheduler works with."""

    owner: str
    """Name of this process, different from all others that share the database."""
    unit_of_work: UnitOfWorkFactory
    clock: Clock
    source_order: Mapping[str, int]
    refreshers: Mapping[str, RefreshWeather] = field(default_factory=dict)
    """By source; sources that are not here are not asked."""
    evening_lead_min: int = EVENING_LEAD_MIN
    lease_s: int = LEASE_S
    heartbeat_s: float = HEARTBEAT_S
    checkpoint: Callable[[str], None] = lambda _name: None
    """Called at ``claimed``, ``fetched``, ``planned`` and ``settled``; a test may end the process
    there."""
    should_stop: Callable[[], bool] = lambda: False
    """Asked between pieces of work."""


@dataclass(slots=True)
class DueOutcome:
    """What came of a look at what is due."""

    finished: dict[str, str] = field(default_factory=dict)
    """Outcome by run key."""
    given_back: dict[str, str] = field(default_factory=dict)
    """Reason by run key; tried again later."""
    passed_by: list[str] = field(default_factory=list)
    """Run keys that another process holds, that wait for their next try, or were given up."""
    lost: list[str] = field(default_factory=list)
    """Run keys that another process took over meanwhile."""


@dataclass(frozen=True, slots=True)
class _Result:
    """How one run went: an outcome, or why it is given back and until when."""

    outcome: str | None = None
    reason: str = ""
    retry_at: datetime | None = None


_Work = Callable[[Duties, Sequence[DueRun]], Mapping[str, _Result]]


def run_due(duties: Duties) -> DueOutcome:
    """Do all that is due now and nobody else does; returns what came of it."""
    outcome = DueOutcome()
    now = duties.clock.now()
    with duties.unit_of_work(write=True) as unit:
        unit.runs.note_tick(owner=duties.owner, now=now)
    with duties.unit_of_work(write=False) as unit:
        due = list_due(
            unit,
            now=now,
            sources=tuple(duties.refreshers),
            evening_lead_min=duties.evening_lead_min,
        )
    for group, work in _pieces(due):
        if duties.should_stop():
            break
        _do(duties, group, work, outcome)
    return outcome


def _pieces(due: Sequence[DueRun]) -> Iterator[tuple[Sequence[DueRun], _Work]]:
    """What is done in one go, in the order of what is due."""
    farm_runs: dict[tuple[str, date | None], list[DueRun]] = {}
    for run in due:
        if run.job == WEATHER:
            yield [run], _refresh
        elif run.job in {EVENING, REPAIR}:
            farm_runs.setdefault((run.job, run.on), []).append(run)
    for (job, _), runs in farm_runs.items():
        for start in range(0, len(runs), FARMS_AT_A_TIME):
            yield runs[start : start + FARMS_AT_A_TIME], _plan if job == EVENING else _repair
    for run in due:
        if run.job == PRUNE:
            yield [run], _prune


# --- claiming and settling ---------------------------------------------------------------------


def _do(duties: Duties, group: Sequence[DueRun], work: _Work, outcome: DueOutcome) -> None:
    claimed, covered_by = _claim(duties, group)
    keys = [run.run_key for run in claimed]
    outcome.passed_by += sorted({run.run_key for run in group}.difference(keys))
    if not claimed:
        return
    duties.checkpoint("claimed")
    with _heartbeat(duties, [*keys, *(key for each in covered_by.values() for key in each)]):
        try:
            results = work(duties, claimed)
        except Exception as failure:  # whatever went wrong must not end the scheduler
            reason = f"{type(failure).__name__}: {failure}"
            results = {key: _Result(reason=reason) for key in keys}
        _settle(duties, results, covered_by, outcome)
    duties.checkpoint("settled")


def _claim(duties: Duties, group: Sequence[DueRun]) -> tuple[list[DueRun], dict[str, list[str]]]:
    """The runs of a group that are ours now, and the missed ones that each of them covers."""
    claimed: list[DueRun] = []
    covered_by: dict[str, list[str]] = {}
    with duties.unit_of_work(write=True) as unit:
        now = duties.clock.now()
        for run in group:
            if _claim_one(duties, unit, run, now):
                claimed.append(run)
                covered_by[run.run_key] = [
                    missed.run_key for missed in run.covers if _claim_one(duties, unit, missed, now)
                ]
    return claimed, covered_by


def _claim_one(duties: Duties, unit: UnitOfWork, run: DueRun, now: datetime) -> bool:
    return unit.runs.claim(
        run.run_key,
        job=run.job,
        due_at=run.due_at,
        owner=duties.owner,
        now=now,
        lease_s=duties.lease_s,
    )


def _settle(
    duties: Duties,
    results: Mapping[str, _Result],
    covered_by: Mapping[str, Sequence[str]],
    outcome: DueOutcome,
) -> None:
    """Finish what went well with all that it covers, give back the rest, in one transaction."""
    finished, given_back, lost = {}, {}, []
    with duties.unit_of_work(write=True) as unit:
        now = duties.clock.now()
        for run_key, result in results.items():
            for key in (run_key, *covered_by[run_key]):
                if not unit.runs.renew(key, owner=duties.owner, now=now, lease_s=duties.lease_s):
                    lost.append(key)
                elif result.outcome is None:
                    retry_at = max(result.retry_at or now, now + RETRY_AFTER)
                    unit.runs.give_back(key, owner=duties.owner, now=now, retry_at=retry_at)
                    given_back[key] = result.reason
                else:
                    said = result.outcome if key == run_key else COVERED
                    unit.runs.finish(key, owner=duties.owner, now=now, outcome=said)
                    finished[key] = said
    outcome.finished.update(finished)
    outcome.given_back.update(given_back)
    outcome.lost += lost


@contextmanager
def _heartbeat(duties: Duties, run_keys: Sequence[str]) -> Iterator[None]:
    """Renew the leases from a thread of its own while the block works."""
    is_over = threading.Event()

    def beat() -> None:
        while not is_over.wait(duties.heartbeat_s):
            try:
                with duties.unit_of_work(write=True) as unit:
                    unit.runs.note_tick(owner=duties.owner, now=duties.clock.now())
                    for key in run_keys:
                        if is_over.is_set():
                            return
                        now = duties.clock.now()
                        unit.runs.renew(key, owner=duties.owner, now=now, lease_s=duties.lease_s)
            except StorageFailed:
                # Our own long write holds the lock, or the database is away: the next beat tries
                # again, and nobody else can claim either while the lock is held.
                continue

    thread = threading.Thread(target=beat, name="heartbeat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


# --- the work ----------------------------------------------------------------------------------


def _refresh(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, _Result]:
    """News of one source; nothing at all from it is a failure, gaps at some sites are not."""
    (run,) = runs
    site_keys = run.site_keys
    if site_keys is None:
        with duties.unit_of_work(write=False) as unit:
            site_keys = unit.blocks.read_site_table().keys
    now = duties.clock.now()
    problems = duties.refreshers[run.source or ""](site_keys, now=now) if site_keys.size else ()
    duties.checkpoint("fetched")
    for problem in problems:
        if problem.site_id is None:
            reason = f"{problem.source}: {problem.reason}: {problem.message}"
            return {run.run_key: _Result(reason=reason, retry_at=problem.retry_at)}
    said = f"refreshed, {len(problems)} problems" if problems else "refreshed"
    return {run.run_key: _Result(outcome=said)}


def _plan(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, _Result]:
    """Evenings of one date.

    A farm whose plan day has begun meanwhile gets a plan for what is left of it, if it has none;
    a plan that may be under way is not changed any more.
    """
    now = duties.clock.now()
    in_time = [run for run in runs if now < _plan_day_begins(run)]
    late = [run for run in runs if now >= _plan_day_begins(run)]
    planned = _planned_farms(duties, late)
    results = {
        **_run_farms(duties, in_time, "planned"),
        **_run_farms(
            duties,
            [run for run in late if run.farm_id not in planned],
            "planned late",
            earliest_start=now,
        ),
        **_run_farms(
            duties,
            [run for run in late if run.farm_id in planned],
            "ledger",
            makes_plans=False,
        ),
    }
    duties.checkpoint("planned")
    return results


def _plan_day_begins(run: DueRun) -> datetime:
    day = run.on or run.due_at.astimezone(UTC).date()
    return midnight_utc(day + ONE_DAY, run.zone)


def _planned_farms(duties: Duties, runs: Sequence[DueRun]) -> set[str]:
    """Farms among these that have a plan in force for the day after the evening."""
    with duties.unit_of_work(write=False) as unit:
        return {
            run.farm_id
            for run in runs
            if run.farm_id is not None
            and run.on is not None
            and unit.plans.list_plans(day=run.on + ONE_DAY, farm_id=run.farm_id)
        }


def _repair(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, _Result]:
    """Ledgers of one date, with the weather that has come since its evening."""
    results = _run_farms(duties, runs, "ledger", makes_plans=False)
    duties.checkpoint("planned")
    return results


def _run_farms(
    duties: Duties,
    runs: Sequence[DueRun],
    outcome: str,
    *,
    earliest_start: datetime | None = None,
    makes_plans: bool = True,
) -> dict[str, _Result]:
    """One call of the evening run for farms with the same date."""
    run_of = {run.farm_id: run for run in runs if run.farm_id is not None}
    on = next((run.on for run in runs if run.on is not None), None)
    if on is None:
        return {}
    done = run_day(
        on,
        unit_of_work=duties.unit_of_work,
        clock=duties.clock,
        source_order=duties.source_order,
        farm_ids=list(run_of),
        earliest_start=earliest_start,
        makes_plans=makes_plans,
    )
    results = {run.run_key: _Result(outcome=outcome) for run in run_of.values()}
    for failure in done.failures:
        results[run_of[failure.farm_id].run_key] = _Result(reason=failure.reason)
    return results


def _prune(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, _Result]:
    (run,) = runs
    pruned = prune_payloads(unit_of_work=duties.unit_of_work, clock=duties.clock)
    said = f"deleted {pruned.payload_count} payloads and {pruned.run_count} runs"
    return {run.run_key: _Result(outcome=said)}
