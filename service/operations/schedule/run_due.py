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
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from service.agronomy.civil_day import ONE_DAY, midnight_utc
from service.database.run_ledger_store import RunLedger
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Conflict, StorageFailed
from service.logs import get_logger, log_context
from service.operations.evening.run_day import ChangeThreshold, run_day
from service.operations.mail.send_mail import prune_mails
from service.operations.reading.read_farms import local_day
from service.operations.schedule.due_jobs import (
    EVENING,
    PRUNE,
    REPAIR,
    WEATHER,
    DueRun,
    latest_evening,
    list_due,
)
from service.operations.weather.prune_payloads import prune_payloads
from service.ports import AfterPublish, Clock, RefreshWeather
from service.records.weather import SourceProblem

LEASE_S = 30
HEARTBEAT_S = 8.0
"""Three renewals may fail before a lease ends."""
EVENING_LEAD_MIN = 45
RETRY_AFTER = timedelta(minutes=15)
FARMS_AT_A_TIME = 1_000
COVERED = "covered"
LOGGED_PROBLEMS = 50
log = get_logger(__name__)


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
    supersedes_from: ChangeThreshold = field(default_factory=ChangeThreshold)
    """From which change of its minutes on later weather replaces a plan that is out."""
    after_publish: AfterPublish | None = None
    """Called where an evening publishes plans, in the same transaction."""
    lease_s: int = LEASE_S
    heartbeat_s: float = HEARTBEAT_S
    checkpoint: Callable[[str], None] = lambda _name: None
    """Called at ``evening claimed``, ``evening planned``, ``evening settled`` and likewise for the
    other jobs (``weather fetched``); a test may end the process there."""
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
        except Exception as failure:  # whatever went wrong must not end the scheduler
            reason = f"{type(failure).__name__}: {failure}"
            log.exception("work failed", reason=reason)
            results = {key: _Result(reason=reason) for key in keys}
        _settle(duties, results, covered_by, outcome)
        _log_results(results, outcome, spent_s=time.perf_counter() - began)
    duties.checkpoint(f"{job} settled")


def _log_results(results: Mapping[str, _Result], outcome: DueOutcome, *, spent_s: float) -> None:
    """One line per run that was done; the scheduler tells of those given back or lost."""
    seconds = round(spent_s, 3)
    for run_key, result in results.items():
        if run_key in outcome.finished:
            log.info("run done", run_key=run_key, outcome=result.outcome, seconds=seconds)


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
    settled: dict[str, _Result] = {}
    lost: list[str] = []
    with duties.unit_of_work(write=True) as unit:
        now = duties.clock.now()
        for run_key, result in results.items():
            for key in (run_key, *covered_by[run_key]):
                own = result
                if key != run_key and result.outcome is not None:
                    own = _Result(outcome=COVERED)
                try:
                    _settle_one(duties, unit.runs, key, own, now=now)
                    settled[key] = own
                except Conflict:
                    lost.append(key)
    for key, own in settled.items():
        if own.outcome is None:
            outcome.given_back[key] = own.reason
        else:
            outcome.finished[key] = own.outcome
    outcome.lost += lost


def _settle_one(
    duties: Duties, runs: RunLedger, run_key: str, result: _Result, *, now: datetime
) -> None:
    if result.outcome is None:
        retry_at = max(result.retry_at or now, now + RETRY_AFTER)
        runs.give_back(run_key, owner=duties.owner, now=now, retry_at=retry_at)
    else:
        runs.finish(run_key, owner=duties.owner, now=now, outcome=result.outcome)


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
    duties.checkpoint("weather fetched")
    _log_problems(problems)
    for problem in problems:
        if problem.site_id is None:
            reason = f"{problem.source}: {problem.reason}: {problem.message}"
            return {run.run_key: _Result(reason=reason, retry_at=problem.retry_at)}
    revised_count = _revise(duties, now)
    said = f"refreshed, {len(problems)} problems" if problems else "refreshed"
    if revised_count:
        said += f", {revised_count} plans superseded"
    return {run.run_key: _Result(outcome=said)}


def _revise(duties: Duties, now: datetime) -> int:
    """Replace plans that are out where the news change their minutes by more than the threshold.

    A farm that fails here keeps its plan; its next evening reports the failure.
    """
    farms_of_evening: dict[date, list[str]] = {}
    with duties.unit_of_work(write=False) as unit:
        for farm in unit.blocks.list_farms():
            on, _ = latest_evening(farm, now, evening_lead_min=duties.evening_lead_min)
            if unit.plans.list_plans(day=on + ONE_DAY, farm_id=farm.farm_id):
                farms_of_evening.setdefault(on, []).append(farm.farm_id)
    revised_count = 0
    for on, farm_ids in farms_of_evening.items():
        done = run_day(
            on,
            unit_of_work=duties.unit_of_work,
            clock=duties.clock,
            source_order=duties.source_order,
            farm_ids=farm_ids,
            earliest_start=now,
            supersedes_from=duties.supersedes_from,
            after_publish=duties.after_publish,
        )
        revised_count += done.new_version_count
    return revised_count


def _log_problems(problems: Sequence[SourceProblem]) -> None:
    """The first of what could not be had, a line each; a region without an answer has thousands."""
    for problem in problems[:LOGGED_PROBLEMS]:
        log.warning(
            "weather missing",
            source=problem.source,
            site=problem.site_id,
            outcome=problem.reason,
            reason=problem.message,
        )
    if len(problems) > LOGGED_PROBLEMS:
        log.warning("more weather missing", problem_count=len(problems) - LOGGED_PROBLEMS)


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
    duties.checkpoint("evening planned")
    return results


def _plan_day_begins(run: DueRun) -> datetime:
    day = run.on or local_day(run.due_at, run.zone)
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
    """Ledgers of one date with the weather that has come since, and what that changes today."""
    results = _run_farms(
        duties,
        runs,
        "repaired",
        earliest_start=duties.clock.now(),
        supersedes_from=duties.supersedes_from,
    )
    duties.checkpoint("repair planned")
    return results


def _run_farms(
    duties: Duties,
    runs: Sequence[DueRun],
    outcome: str,
    *,
    earliest_start: datetime | None = None,
    makes_plans: bool = True,
    supersedes_from: ChangeThreshold | None = None,
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
        supersedes_from=supersedes_from,
        after_publish=duties.after_publish,
    )
    results = {run.run_key: _Result(outcome=outcome) for run in run_of.values()}
    for failure in done.failures:
        results[run_of[failure.farm_id].run_key] = _Result(reason=failure.reason)
    return results


def _prune(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, _Result]:
    (run,) = runs
    pruned = prune_payloads(unit_of_work=duties.unit_of_work, clock=duties.clock)
    said = f"deleted {pruned.payload_count} payloads and {pruned.job_run_count} runs"
    mail_count = prune_mails(unit_of_work=duties.unit_of_work, clock=duties.clock)
    if mail_count:
        said += f", {mail_count} mails"
    return {run.run_key: _Result(outcome=said)}
