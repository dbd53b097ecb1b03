"""Noticing what nobody reports: weather that stays out, controllers that are silent, flow alarms.

Looked for every few minutes, at farms that want to be notified and nowhere else. A state is
reported once, named by what it began with, by whichever process notices it first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.evening.own_rain import freshness_of
from service.operations.reading.read_farms import local_day
from service.operations.schedule.read_status import (
    STALE_OBSERVED_DAYS,
    WEATHER_SHOWN_DAYS,
    SiteAge,
    site_age,
)
from service.operations.waterworks.check_flow import FlowReport, flow_report
from service.ports import Clock
from service.records.events import EventKind, FlowNews, NewEvent, SilenceNews, WeatherNews
from service.records.farms import FarmDefinition

WATCH_EVERY = timedelta(minutes=5)
SILENT_AFTER = timedelta(hours=2)
"""Eight polls of a controller that keeps its contract; our own choice."""
RUNS_LOOKED_BACK = timedelta(days=2)
"""How long ago a run may have been reported that a process looks at when it starts."""
FLOW_DAYS = 365
_WATCHED = frozenset({EventKind.WEATHER_MISSING, EventKind.CONTROLLER_SILENT, EventKind.FLOW_ALARM})


@dataclass(slots=True)
class Watch:
    """When this process has looked last."""

    looked_at: datetime | None = None


def watch_farms(watch: Watch, *, unit_of_work: UnitOfWorkFactory, clock: Clock) -> int:
    """Look for what nobody reports, if it is time; returns how many events were stored."""
    now = clock.now()
    if watch.looked_at is not None and now - watch.looked_at < WATCH_EVERY:
        return 0
    since = max(watch.looked_at or now - RUNS_LOOKED_BACK, now - RUNS_LOOKED_BACK)
    watch.looked_at = now
    with unit_of_work(write=False) as unit:
        wanted = unit.subscriptions.wanted_kinds()
        if not any(kinds & _WATCHED for kinds in wanted.values()):
            return 0
        events = list(_noticed(unit, wanted, now=now, since=since))
    if not events:
        return 0
    with unit_of_work(write=True) as unit:
        return unit.events.add_events(events, at=now)


def _noticed(
    unit: UnitOfWork,
    wanted: Mapping[int, frozenset[EventKind]],
    *,
    now: datetime,
    since: datetime,
) -> Iterator[tuple[int, NewEvent]]:
    farms = {farm.farm_id: farm for farm in unit.blocks.list_farms()}
    for farm_id, farm_key in unit.blocks.farm_keys().items():
        kinds = wanted.get(farm_key, frozenset())
        if EventKind.WEATHER_MISSING in kinds:
            for event in _missing_weather(unit, farm_id, farm_key, now):
                yield farm_key, event
        if EventKind.CONTROLLER_SILENT in kinds:
            for event in _silent_controllers(unit, farm_id, now):
                yield farm_key, event
        if EventKind.FLOW_ALARM in kinds:
            for event in _flow_alarms(unit, farms[farm_id], farm_key, now=now, since=since):
                yield farm_key, event


def _missing_weather(
    unit: UnitOfWork, farm_id: str, farm_key: int, now: datetime
) -> Iterator[NewEvent]:
    keys = unit.blocks.list_site_keys(np.array([farm_key], dtype=np.int64))
    table = unit.blocks.read_site_table(keys)
    first_day = now.date() - timedelta(days=WEATHER_SHOWN_DAYS)
    fresh_of = freshness_of(unit, table.keys, first_day=first_day, farm_key=farm_key)
    for site, fresh in zip(table.definitions, fresh_of, strict=True):
        age = site_age(site, fresh, now)
        if age.is_stale:
            news = WeatherNews(
                farm_id=farm_id,
                site_id=site.site_id,
                last_measured_day=age.last_observed_day,
                forecast_until_day=age.forecast_until_day,
            )
            yield NewEvent(
                kind=EventKind.WEATHER_MISSING,
                subject=site.site_id,
                news=news,
                occurrence=_outage(age),
            )


def _outage(age: SiteAge) -> str:
    """Names an outage by what came last before it, so that it is reported once."""
    observed_age = age.observed_age
    if observed_age is None or observed_age >= timedelta(days=STALE_OBSERVED_DAYS):
        return f"weather:{age.site_id}:measured:{age.last_observed_day}"
    return f"weather:{age.site_id}:forecast:{age.forecast_issued_at}"


def _silent_controllers(unit: UnitOfWork, farm_id: str, now: datetime) -> Iterator[NewEvent]:
    for controller_id, polled_at in unit.polls.read_last(farm_id).items():
        if now - polled_at >= SILENT_AFTER:
            news = SilenceNews(
                farm_id=farm_id, controller_id=controller_id, last_polled_at=polled_at
            )
            yield NewEvent(
                kind=EventKind.CONTROLLER_SILENT,
                subject=controller_id,
                news=news,
                occurrence=f"silence:{controller_id}:{polled_at.isoformat()}",
            )


def _flow_alarms(
    unit: UnitOfWork, farm: FarmDefinition, farm_key: int, *, now: datetime, since: datetime
) -> Iterator[NewEvent]:
    today = local_day(now, farm.zone)
    for block_id in unit.reports.list_metered(farm_key, recorded_since=since):
        report = flow_report(unit, block_id, today - timedelta(days=FLOW_DAYS), today)
        if report.is_alarm and report.check.alarm_runs:
            yield _flow_alarm(farm.farm_id, report)


def _flow_alarm(farm_id: str, report: FlowReport) -> NewEvent:
    alarm_day = report.days[report.check.alarm_runs[-1]].item()
    change = report.check.change_fraction
    news = FlowNews(
        farm_id=farm_id,
        block_id=report.block_id,
        alarm_day=alarm_day,
        verdict=report.verdict.value,
        change_fraction=round(change, 4) if np.isfinite(change) else None,
        run_count=int(report.days.size),
    )
    return NewEvent(
        kind=EventKind.FLOW_ALARM,
        subject=report.block_id,
        news=news,
        occurrence=f"flow:{report.block_id}:{alarm_day}",
    )
