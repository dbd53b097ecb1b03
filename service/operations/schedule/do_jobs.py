"""The work of each job: refresh the weather, plan evenings, repair ledgers, delete what is old.

In: the runs of one job that this process has claimed. Out: the result of each, by run key.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

import numpy as np

from service.agronomy.civil_day import ONE_DAY, midnight_utc
from service.logs import get_logger
from service.operations.evening.run_day import run_day
from service.operations.evening.turn import ChangeThreshold
from service.operations.events.deliver_events import prune_events
from service.operations.mail.send_mail import prune_mails
from service.operations.reading.read_farms import local_day
from service.operations.schedule.due_jobs import WEATHER, DueRun, latest_evening
from service.operations.schedule.duties import Duties, JobResult
from service.operations.schedule.retain_plans import retain_plans
from service.operations.schedule.turn_on_risk import turn_on_risk
from service.operations.weather.observe_forecast_days import observe_forecast_days
from service.operations.weather.prune_payloads import prune_payloads
from service.records.farms import SiteTable
from service.records.weather import SourceProblem

LOGGED_PROBLEMS = 50
log = get_logger(__name__)


def do_refresh(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, JobResult]:
    """Fetch news from one source; sites for which nothing came are asked for again later.

    Gaps in what came are no failure, and a site that the source never covers is not asked for again
    before its next turn.
    """
    (run,) = runs
    # Where a later turn has come due meanwhile, its sites are all asked for.
    settles = (run.run_key, *(each.run_key for each in run.covers))
    with duties.unit_of_work(write=False) as unit:
        sites = unit.blocks.read_site_table(duties.unanswered.get(settles, run.site_keys))
    now = duties.clock.now()
    problems = duties.refreshers[run.source or ""](sites.keys, now=now) if sites.keys.size else ()
    duties.checkpoint("weather fetched")
    _log_problems(problems)
    silent = {problem.site_id for problem in problems if problem.gave_nothing}
    is_silent = [None in silent or site.site_id in silent for site in sites.definitions]
    for key in [key for key in duties.unanswered if key[0].startswith(f"{WEATHER}:{run.source}:")]:
        del duties.unanswered[key]
    revised_count = 0 if sites.keys.size and all(is_silent) else _revise(duties, now)
    if any(is_silent):
        duties.unanswered[settles] = sites.keys[np.array(is_silent)]
        return {run.run_key: _asked_again(problems, silent_count=sum(is_silent), of=sites)}
    outcome = "refreshed"
    if revised_count:
        outcome += f", {revised_count} plans superseded"
    return {run.run_key: JobResult(outcome=outcome)}


def _asked_again(
    problems: Sequence[SourceProblem], *, silent_count: int, of: SiteTable
) -> JobResult:
    """The reason why a run is given back, and when the first of its sites may be asked for."""
    silent = [problem for problem in problems if problem.gave_nothing]
    asked_back = [problem.retry_at for problem in silent if problem.retry_at is not None]
    first = silent[0]
    reason = f"{first.source}: {first.reason}: {first.message}"
    if silent_count < len(of.keys):
        reason += f" ({silent_count} of {len(of.keys)} sites)"
    return JobResult(reason=reason, retry_at=min(asked_back) if asked_back else None)


def _revise(duties: Duties, now: datetime) -> int:
    """Replace plans that are out if new weather changes their minutes beyond the threshold.

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
    """Log the first few problems, a line each; a region without an answer has thousands."""
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


def do_evenings(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, JobResult]:
    """Plan the evenings of one date.

    A farm whose planned day has begun meanwhile gets a plan for the rest of it, if it has none; a
    plan that may be under way is no longer changed.
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


def do_repairs(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, JobResult]:
    """Recompute the ledgers of one date with late weather, and what that changes today."""
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
) -> dict[str, JobResult]:
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
    results = {run.run_key: JobResult(outcome=outcome) for run in run_of.values()}
    for failure in done.failures:
        results[run_of[failure.farm_id].run_key] = JobResult(
            reason=failure.reason, is_away=failure.is_away
        )
    return results


def do_prune(duties: Duties, runs: Sequence[DueRun]) -> Mapping[str, JobResult]:
    """Delete payloads, runs, mails, events, superseded plans and issued forecasts that are old
    enough, and pack old plans.

    What was observed of the days of those forecasts is stored first. Blocks that have proved on
    paper to gain by it are made to weigh the forecast.
    """
    (run,) = runs
    pruned = prune_payloads(unit_of_work=duties.unit_of_work, clock=duties.clock)
    outcome = f"deleted {pruned.payload_count} payloads and {pruned.job_run_count} runs"
    if pruned.issue_count:
        outcome += f", {pruned.issue_count} issues of ensembles"
    mail_count = prune_mails(unit_of_work=duties.unit_of_work, clock=duties.clock)
    if mail_count:
        outcome += f", {mail_count} mails"
    event_count = prune_events(unit_of_work=duties.unit_of_work, clock=duties.clock)
    if event_count:
        outcome += f", {event_count} events"
    plans = retain_plans(unit_of_work=duties.unit_of_work, clock=duties.clock)
    if plans.thinned_count:
        outcome += f", {plans.thinned_count} superseded plans"
    risk = turn_on_risk(unit_of_work=duties.unit_of_work, clock=duties.clock)
    forecasts = observe_forecast_days(
        unit_of_work=duties.unit_of_work, clock=duties.clock, source_order=duties.source_order
    )
    if forecasts.pruned_count:
        outcome += f", {forecasts.pruned_count} issued forecasts"
    if forecasts.observed_count:
        outcome += f"; {forecasts.observed_count} days observed"
    if risk.told_count or risk.turned_count:
        outcome += f"; {risk.told_count} notices that a block will weigh the forecast"
        outcome += f", {risk.turned_count} blocks turned on"
    if plans.packed_count:
        outcome += f"; packed {plans.packed_count} plans and their weather"
    return {run.run_key: JobResult(outcome=outcome)}
