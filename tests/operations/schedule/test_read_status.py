"""How the service is doing, as of one instant: nothing changed, and no query more per farm."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import event

from service import metrics
from service.bootstrap import Service
from service.database.engine import make_engine
from service.database.session import UnitOfWorkFactory, unit_of_work_factory
from service.errors import NotFound, StorageFailed
from service.operations.schedule.duties import Duties
from service.operations.schedule.read_status import (
    RUNS_SHOWN,
    FarmRuns,
    ServiceStatus,
    Verdict,
    check_ready,
    read_status,
    watchdog_verdict,
)
from service.operations.schedule.run_due import run_due
from service.records.weather import BreakerState
from tests.api.invented_farm import FARM_ID, RUN_AT, TODAY, FixedClock, load

# Test Farm issues its plans at 19:00 New York, 23:00 UTC; the scheduler begins 45 minutes before.
DUE_AT = datetime.fromisoformat("2026-07-14T22:15:00Z")
ONE_DAY = timedelta(days=1)
DAYS_LATER = timedelta(days=20)


def status_of(
    open_unit: UnitOfWorkFactory, *, later: timedelta = timedelta(0), **changes: Any
) -> ServiceStatus:
    facts: dict[str, Any] = {"sources": (), "evening_lead_min": 45, **changes}
    return read_status(unit_of_work=open_unit, clock=FixedClock(RUN_AT + later), **facts)


def tick(service: Service, *, later: timedelta = timedelta(0)) -> None:
    with service.unit_of_work(write=True) as unit:
        unit.runs.note_tick(owner="a-scheduler", now=RUN_AT + later)


def run_once(service: Service, *, later: timedelta = timedelta(0)) -> None:
    """One look of the scheduler, with all that is due done."""
    run_due(
        Duties(
            owner="a-scheduler",
            unit_of_work=service.unit_of_work,
            clock=FixedClock(RUN_AT + later),
            source_order=service.source_order,
        )
    )


def farm_of(status: ServiceStatus) -> FarmRuns:
    (found,) = [farm for farm in status.farms if farm.farm_id == FARM_ID]
    return found


@pytest.mark.parametrize(
    ("silent_s", "verdict"),
    [(-60, "warn"), (-4, "pass"), (0, "pass"), (180, "pass"), (181, "warn"), (600, "warn"),
     (601, "fail")],
)  # fmt: skip
def test_the_watchdog_warns_after_three_minutes_and_fails_after_ten(
    silent_s: float, verdict: str
) -> None:
    assert watchdog_verdict(RUN_AT, RUN_AT + timedelta(seconds=silent_s)) == verdict


def test_a_service_without_any_scheduler_yet_is_a_warning() -> None:
    assert watchdog_verdict(None, RUN_AT) is Verdict.WARN


def test_an_empty_store_lacks_nothing_but_a_scheduler(open_unit: UnitOfWorkFactory) -> None:
    status = status_of(open_unit)
    assert (status.farms, status.sites, status.breakers) == ((), (), ())
    assert (status.verdict, status.last_tick_at) == (Verdict.WARN, None)
    assert status.findings == (
        "no scheduler has looked at what is due yet; `rillwright schedule` is one",
    )


def test_before_any_run_the_evening_is_due_and_looking_does_not_run_it(
    own_service: Service,
) -> None:
    for _ in range(2):
        status = status_of(own_service.unit_of_work)
        assert status.due_counts == {"evening": 2, "repair": 0, "weather": 0, "prune": 1}
        assert status.run_counts == {}
        farm = farm_of(status)
        assert (farm.last_run, farm.next_due_at, farm.is_overdue) == (None, DUE_AT, False)


def test_after_a_run_all_is_well_until_the_next_evening(own_service: Service) -> None:
    run_once(own_service)
    status = status_of(own_service.unit_of_work, farm_id=FARM_ID)
    assert (status.verdict, status.findings) == (Verdict.PASS, ())
    assert set(status.due_counts.values()) == {0}
    assert status.run_counts["evening", "done"] == 2
    farm = farm_of(status)
    assert farm.last_run is not None
    assert farm.last_run.run_key == f"evening:{FARM_ID}:{TODAY}"
    assert farm.next_due_at == DUE_AT + ONE_DAY


def test_runs_are_counted_for_a_day_and_shown_for_longer(own_service: Service) -> None:
    run_once(own_service)
    later = DUE_AT - RUN_AT + ONE_DAY
    assert ("evening", "done") in status_of(own_service.unit_of_work, later=later).run_counts
    second = timedelta(seconds=1)
    status = status_of(own_service.unit_of_work, later=later + second)
    assert ("evening", "done") not in status.run_counts
    assert farm_of(status).last_run is not None
    forgotten = status_of(own_service.unit_of_work, later=later, runs_since=ONE_DAY - second)
    assert farm_of(forgotten).last_run is None


def test_late_plans_and_old_weather_are_reported_by_name(
    own_service: Service,
) -> None:
    later = timedelta(hours=30)
    tick(own_service, later=later)
    status = status_of(own_service.unit_of_work, later=later)
    assert status.watchdog is Verdict.PASS and status.verdict is Verdict.WARN
    assert status.findings == (
        "plans are overdue: later-farm, test-farm",
        "weather is old or ends too soon: home, hill",
    )
    (site,) = [each for each in status.sites if each.site_id == "home"]
    # Midnight after the 14th in New York is 04:00 UTC, 25 hours before.
    assert (site.last_observed_day, site.observed_age) == (TODAY, timedelta(hours=25))
    assert (site.forecast_issued_at, site.forecast_age) == (RUN_AT, later)


def test_a_breaker_is_open_until_its_time_and_reported_while_it_is(own_service: Service) -> None:
    until = RUN_AT + timedelta(minutes=10)
    breaker = BreakerState("nearby|weather.example", 5, RUN_AT, until, "timeout")
    with own_service.unit_of_work(write=True) as unit:
        unit.breakers.write(breaker)
    finding = "not asked for now, after failures: nearby|weather.example"
    status = status_of(own_service.unit_of_work)
    assert status.breakers == (breaker,) and status.is_open(breaker)
    assert finding in status.findings
    closed = status_of(own_service.unit_of_work, later=timedelta(minutes=10))
    assert not closed.is_open(breaker) and finding not in closed.findings


def test_one_farm_has_its_own_sites_and_an_unknown_one_is_not_found(
    own_service: Service,
) -> None:
    status = status_of(own_service.unit_of_work, farm_id=FARM_ID)
    assert [farm.farm_id for farm in status.farms] == [FARM_ID]
    assert [site.site_id for site in status.sites] == ["home"]
    with pytest.raises(NotFound, match="nowhere"):
        status_of(own_service.unit_of_work, farm_id="nowhere")


def test_a_service_is_ready_only_on_its_own_schema(open_unit: UnitOfWorkFactory) -> None:
    def fail() -> None:
        raise StorageFailed("another version")

    check_ready(unit_of_work=open_unit, check_storage=lambda: None)
    with pytest.raises(StorageFailed, match="another version"):
        check_ready(unit_of_work=open_unit, check_storage=fail)


def exposition(status: ServiceStatus) -> bytes:
    return metrics.status_exposition(status, None, schema_revision="head")


def test_an_old_backup_is_a_finding_and_its_age_a_metric(own_service: Service) -> None:
    open_unit, alarm = own_service.unit_of_work, timedelta(hours=36)
    tick(own_service, later=timedelta(hours=40))
    missing = status_of(open_unit, backup_alarm_after=alarm)
    assert "no backup has been made on schedule within 31 days" in missing.findings
    assert b"rillwright_backup_age" not in exposition(missing)
    with open_unit(write=True) as unit:
        facts: dict[str, Any] = {"owner": "a-scheduler", "now": RUN_AT}
        unit.runs.claim("backup:2026-07-14", job="backup", due_at=RUN_AT, lease_s=60, **facts)
        unit.runs.finish("backup:2026-07-14", outcome="made", **facts)
    late = status_of(open_unit, later=timedelta(hours=40), backup_alarm_after=alarm)
    assert late.last_backup_at == RUN_AT
    assert "the last backup is 40 hours old" in late.findings
    assert late.verdict is Verdict.WARN
    assert b"rillwright_backup_age_seconds 144000.0" in exposition(late)
    fresh = status_of(open_unit, later=timedelta(hours=35), backup_alarm_after=alarm)
    assert not any("backup" in each for each in fresh.findings)
    assert not any("backup" in each for each in status_of(open_unit, later=DAYS_LATER).findings)


@pytest.mark.parametrize("runs_since", [RUNS_SHOWN, metrics.SCRAPED_RUNS])
def test_many_farms_cost_no_more_queries_than_few(
    own_service: Service, runs_since: timedelta
) -> None:
    engine = make_engine(own_service.settings.database_url)
    statements: list[str] = []
    begun: list[object] = []
    event.listen(engine, "before_cursor_execute", lambda *given: statements.append(given[2]))
    event.listen(engine, "begin", begun.append)

    def query_count() -> tuple[int, int]:
        statements.clear()
        begun.clear()
        status = read_status(
            unit_of_work=unit_of_work_factory(engine),
            clock=own_service.clock,
            sources=("nearby", "far-off"),
            evening_lead_min=45,
            runs_since=runs_since,
        )
        assert len(begun) == 1  # one transaction: one state of the data
        return len(status.farms), len(statements)

    few_farms, few = query_count()
    for number in range(12):
        load(own_service, _FURTHER_FARM.format(number=number))
    assert query_count() == (few_farms + 12, few)
    assert few <= 18
    engine.dispose()


_FURTHER_FARM = """
[farm]
id = "further-{number}"
name = "Further Farm {number} (invented)"
zone = "America/Chicago"

[[site]]
id = "field-{number}"
latitude = 38.0
longitude = -90.0
elevation = "500 ft"

[[supply]]
id = "well"
flow = "40 gpm"

[[block]]
id = "only"
crop = "apple-cover-no-frost"
area = "1 ac"
row_spacing = "4 m"
emitter_spacing = "0.6 m"
emitter_flow = "2 L/h"
soil = {{ texture = "loam" }}
"""
