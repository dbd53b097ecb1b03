"""The state of the service."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Self

from pydantic import Field

from service.api.schemas.facts import Out, known
from service.operations.schedule.read_status import FarmRuns, ServiceStatus, SiteAge, Verdict
from service.records.schedule import JobRun
from service.records.weather import FIELD_GROUPS, BreakerState


class SchedulerOut(Out):
    """The process that makes the plans of every evening."""

    last_tick_at: datetime | None = Field(
        description="When any scheduler last looked at what is due; null: never."
    )
    verdict: Verdict = Field(
        description="`warn` after 3 minutes of silence, `fail` after 10; `warn` if there never was"
        " any."
    )


class QueueOut(Out):
    """Runs of one job waiting to be done."""

    job: str = Field(
        description="`evening`, `repair`, `weather` or `prune`; new ones may be added."
    )
    due_count: int = Field(description="Runs that are due and not done.")


class JobRunOut(Out):
    """A run that a scheduler has taken up."""

    run_key: str = Field(description="`job:farm:date`; each key is done once.")
    due_at: datetime = Field(description="When it became due.")
    state: str = Field(description="`claimed`, `waiting` (for its next try) or `done`.")
    outcome: str | None = Field(description="Its result; null: not done.")
    attempt_count: int = Field(description="Number of attempts.")
    changed_at: datetime = Field(description="When its state last changed.")

    @classmethod
    def from_record(cls, run: JobRun) -> Self:
        """The run without the names of processes."""
        return cls(
            run_key=run.run_key,
            due_at=run.due_at,
            state=run.state,
            outcome=run.outcome,
            attempt_count=run.attempt_count,
            changed_at=run.changed_at,
        )


class FarmStatusOut(Out):
    """The evening runs of a farm."""

    farm_id: str
    next_due_at: datetime = Field(
        description="When its next evening is due; in the past for one that is due and not done."
    )
    is_overdue: bool = Field(description="Its issue time has passed without plans.")
    last_run: JobRunOut | None = Field(
        description="Its latest evening run of the last 8 days; null: none."
    )

    @classmethod
    def from_record(cls, farm: FarmRuns) -> Self:
        """The farm's part."""
        return cls(
            farm_id=farm.farm_id,
            next_due_at=farm.next_due_at,
            is_overdue=farm.is_overdue,
            last_run=None if farm.last_run is None else JobRunOut.from_record(farm.last_run),
        )


class MeasuredUntilOut(Out):
    """Last local day on which each part of the weather was measured; null: not lately, or never."""

    temperature: date | None = Field(description="Maximum and minimum temperature.")
    humidity: date | None = Field(description="Humidity or dewpoint.")
    wind: date | None = Field(description="Wind speed.")
    radiation: date | None = Field(description="Solar radiation or sunshine.")
    rain: date | None = Field(description="Rain.")

    @classmethod
    def from_days(cls, days: Mapping[str, date]) -> Self:
        """The days by group of fields."""
        return cls(**{group: days.get(group) for group in FIELD_GROUPS})


class SiteStatusOut(Out):
    """Age of a site's weather."""

    site_id: str
    is_stale: bool = Field(description="Tomorrow's plan would rest on old or gap-filled weather.")
    last_observed_day: date | None = Field(
        description="Last local day on which all was measured that reference ET takes from"
        " measurements at this site; null: none. Rain says nothing of it."
    )
    measured_until: MeasuredUntilOut = Field(
        description="The same, one by one; rain also by the farm's own gauge."
    )
    observed_age_h: float | None = Field(description="Hours since the end of that day.")
    forecast_issued_at: datetime | None = Field(description="When the newest forecast was issued.")
    forecast_age_h: float | None = Field(description="Hours since then.")
    forecast_until_day: date | None = Field(description="Last local day that it covers.")

    @classmethod
    def from_record(cls, site: SiteAge) -> Self:
        """The site's part."""
        return cls(
            site_id=site.site_id,
            is_stale=site.is_stale,
            last_observed_day=site.last_observed_day,
            measured_until=MeasuredUntilOut.from_days(site.measured_until),
            observed_age_h=_hours(site.observed_age),
            forecast_issued_at=site.forecast_issued_at,
            forecast_age_h=_hours(site.forecast_age),
            forecast_until_day=site.forecast_until_day,
        )


class BreakerOut(Out):
    """Whether requests to a weather service, or to one grid cell of it, are paused."""

    key: str = Field(description="`source|host`, or `source|host|cell`.")
    state: str = Field(description="`open` (nothing is sent) or `closed`.")
    open_until: datetime | None = Field(description="When it may be asked again; null: any time.")
    failure_count: int = Field(description="Failed requests that it remembers.")
    last_reason: str = Field(description="Why the last one failed; empty: none has.")

    @classmethod
    def from_record(cls, breaker: BreakerState, *, is_open: bool) -> Self:
        """The breaker."""
        return cls(
            key=breaker.key,
            state="open" if is_open else "closed",
            open_until=breaker.open_until,
            failure_count=breaker.failure_count,
            last_reason=breaker.last_reason,
        )


class StatusOut(Out):
    """The state of the service at one instant."""

    status: Verdict = Field(description="`pass`, `warn` (see findings) or `fail` (no scheduler).")
    checked_at: datetime = Field(description="The clock of the service.")
    findings: list[str] = Field(description="What needs attention, in words.")
    scheduler: SchedulerOut
    queues: list[QueueOut] = Field(description="What is due, of all farms.")
    farms: list[FarmStatusOut]
    sites: list[SiteStatusOut]
    breakers: list[BreakerOut]

    @classmethod
    def from_record(cls, status: ServiceStatus) -> Self:
        """The state as it is shown."""
        return cls(
            status=status.verdict,
            checked_at=status.at,
            findings=list(status.findings),
            scheduler=SchedulerOut(last_tick_at=status.last_tick_at, verdict=status.watchdog),
            queues=[QueueOut(job=job, due_count=n) for job, n in status.due_counts.items()],
            farms=[FarmStatusOut.from_record(farm) for farm in status.farms],
            sites=[SiteStatusOut.from_record(site) for site in status.sites],
            breakers=[
                BreakerOut.from_record(each, is_open=status.is_open(each))
                for each in status.breakers
            ],
        )


def _hours(age: timedelta | None) -> float | None:
    return None if age is None else known(round(age.total_seconds() / 3600.0, 2))
