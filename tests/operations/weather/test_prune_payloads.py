"""What is too old is deleted, and the day before it is kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from service.database.session import UnitOfWorkFactory
from service.operations.weather.prune_payloads import (
    PAYLOADS_KEPT,
    RUNS_KEPT,
    Pruned,
    prune_payloads,
)
from service.records.weather import StoredPayload
from tests.scheduled_farms import FixedClock

NOW = datetime(2026, 7, 14, 23, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def store_payload(open_unit: UnitOfWorkFactory, *, age: timedelta) -> str:
    digest = f"digest-{age.total_seconds():.0f}"
    with open_unit(write=True) as unit:
        unit.payloads.save(
            StoredPayload(
                url_digest=digest,
                source="made-up",
                url="https://weather.example.org/daily",
                fetched_at=NOW - age,
                etag=None,
                last_modified=None,
                expires_at=None,
                body_digest=digest,
                body=b"{}",
            )
        )
    return digest


def store_run(open_unit: UnitOfWorkFactory, *, age: timedelta, is_done: bool = True) -> str:
    run_key = f"evening:orchard:{age.total_seconds():.0f}:{is_done}"
    due_at = NOW - age
    with open_unit(write=True) as unit:
        unit.runs.claim(
            run_key, job="evening", due_at=due_at, owner="first", now=due_at, lease_s=30
        )
        if is_done:
            unit.runs.finish(run_key, owner="first", now=due_at, outcome="planned")
    return run_key


def prune(open_unit: UnitOfWorkFactory) -> Pruned:
    return prune_payloads(unit_of_work=open_unit, clock=FixedClock(NOW))


def test_answers_of_weather_services_are_kept_for_thirty_days(
    open_unit: UnitOfWorkFactory,
) -> None:
    kept = store_payload(open_unit, age=PAYLOADS_KEPT)
    gone = store_payload(open_unit, age=PAYLOADS_KEPT + SECOND)
    assert prune(open_unit) == Pruned(issue_count=0, payload_count=1, job_run_count=0)
    with open_unit(write=False) as unit:
        assert unit.payloads.find(kept) is not None
        assert unit.payloads.find(gone) is None


def test_runs_that_are_done_are_kept_for_longer_than_a_season(
    open_unit: UnitOfWorkFactory,
) -> None:
    kept = store_run(open_unit, age=RUNS_KEPT)
    store_run(open_unit, age=RUNS_KEPT + SECOND)
    unfinished = store_run(open_unit, age=RUNS_KEPT + SECOND, is_done=False)
    assert prune(open_unit) == Pruned(issue_count=0, payload_count=0, job_run_count=1)
    with open_unit(write=False) as unit:
        left = unit.runs.list_runs(first_due_at=NOW - 2 * RUNS_KEPT)
    assert {run.run_key for run in left} == {kept, unfinished}


def test_a_second_time_deletes_nothing_more(open_unit: UnitOfWorkFactory) -> None:
    store_payload(open_unit, age=2 * PAYLOADS_KEPT)
    store_run(open_unit, age=2 * RUNS_KEPT)
    assert prune(open_unit) == Pruned(issue_count=0, payload_count=1, job_run_count=1)
    assert prune(open_unit) == Pruned(issue_count=0, payload_count=0, job_run_count=0)
