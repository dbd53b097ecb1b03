"""The scheduler as people start it: once, or as a process that stops on a signal."""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
from datetime import UTC, datetime

import pytest
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from sqlalchemy.engine import URL

from service.database.engine import make_engine
from service.database.session import unit_of_work_factory
from service.errors import StorageAway
from service.operations.backups.keep_backups import Kept
from service.operations.schedule.run_due import DueOutcome
from service.scheduler import (
    log_backup,
    log_outcome,
    log_trouble,
    make_scheduler,
    summary,
)
from tests.cli.conftest import Command, document
from tests.databases import address
from tests.patience import PATIENCE_S

AT = datetime(2026, 7, 14, 22, 15, tzinfo=UTC)


def test_once_does_what_is_due_and_again_finds_nothing(own_demo: Command) -> None:
    first = own_demo("schedule", "--once")
    assert first.exit_code == 0, first.output
    assert first.stdout.startswith("evening: ")
    assert "prune: deleted 0 payloads and 0 runs" in first.stdout
    again = own_demo("schedule", "--once")
    assert (again.exit_code, again.stdout) == (0, "nothing is due\n")


def test_once_reports_what_it_did_as_json(own_demo: Command) -> None:
    found = document(own_demo("schedule", "--once", "--json"))
    assert {key.split(":")[0] for key in found["finished"]} >= {"evening", "prune"}
    assert (found["given_back"], found["passed_by"], found["lost"]) == ({}, [], [])


def test_the_process_looks_at_once_and_stops_cleanly_on_a_signal(
    empty: Command, database_url: URL
) -> None:
    assert empty("check").exit_code == 1
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "schedule"],
        env={**os.environ, "RILLWRIGHT_DATABASE_URL": address(database_url)},
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    with process:
        line = next(line for line in process.stderr if "prune:" in line or "rror" in line)
        process.send_signal(signal.SIGTERM)
        rest = process.stderr.read()
        assert process.wait(timeout=PATIENCE_S) == 0, line + rest
    assert "deleted 0 payloads and 0 runs" in line
    assert "stopped" in rest
    engine = make_engine(database_url)
    with unit_of_work_factory(engine)(write=False) as unit:
        assert unit.runs.last_tick_at() is not None
    engine.dispose()


def test_the_beat_is_one_job_that_is_never_dropped_for_being_late() -> None:
    scheduler = make_scheduler(lambda: None)
    scheduler.start(paused=True)
    (job,) = scheduler.get_jobs()
    assert (job.misfire_grace_time, job.coalesce, job.max_instances) == (None, True, 1)
    assert scheduler.timezone is UTC
    next_at = job.trigger.get_next_fire_time(None, AT.replace(second=1))
    assert next_at == AT.replace(second=20)
    scheduler.shutdown(wait=True)


def test_backups_have_a_thread_of_their_own(caplog: pytest.LogCaptureFixture) -> None:
    backing_up, planned = threading.Event(), threading.Event()

    def back_up() -> None:
        backing_up.set()
        assert planned.wait(timeout=PATIENCE_S)

    def plan() -> None:
        assert backing_up.wait(timeout=PATIENCE_S)
        planned.set()

    scheduler = make_scheduler(plan, backup_tick=back_up)
    scheduler.start()
    scheduler.shutdown(wait=True)
    assert planned.is_set()
    assert caplog.text == ""


def test_a_backup_is_logged_and_its_failure_too(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO):
        log_backup(None)
        log_backup(Kept("20260714T090000Z, 2.0 MB, 7 rows"))
        log_backup(Kept(None, "the disk is full"))
    assert [record.getMessage() for record in caplog.records] == [
        "backup: 20260714T090000Z, 2.0 MB, 7 rows",
        "the backup failed and will be tried again: the disk is full",
    ]


def test_a_tick_that_fails_is_logged_and_does_not_stop_the_timer(
    caplog: pytest.LogCaptureFixture,
) -> None:
    ticked = threading.Event()

    def fail() -> None:
        ticked.set()
        raise ZeroDivisionError("made up")

    scheduler = make_scheduler(fail)
    scheduler.start()
    assert ticked.wait(timeout=PATIENCE_S)
    assert len(scheduler.get_jobs()) == 1
    scheduler.shutdown(wait=True)
    assert "the next one tries again: ZeroDivisionError: made up" in caplog.text


def test_each_failure_is_logged_in_one_line(caplog: pytest.LogCaptureFixture) -> None:
    log_trouble(JobExecutionEvent(EVENT_JOB_MISSED, "tick", "default", AT))
    error = ZeroDivisionError("made up")
    log_trouble(JobExecutionEvent(EVENT_JOB_ERROR, "tick", "default", AT, exception=error))
    assert [record.getMessage() for record in caplog.records] == [
        f"the tick of {AT} was missed",
        f"the tick of {AT} failed, the next one tries again: ZeroDivisionError: made up",
    ]


def test_a_tick_that_found_the_database_away_is_no_error_of_the_service(
    caplog: pytest.LogCaptureFixture,
) -> None:
    away = StorageAway("another writer")
    log_trouble(JobExecutionEvent(EVENT_JOB_ERROR, "tick", "default", AT, exception=away))
    (record,) = caplog.records
    assert (record.levelname, record.exc_info) == ("WARNING", None)


def test_what_a_tick_did_is_logged_by_job_and_outcome(caplog: pytest.LogCaptureFixture) -> None:
    outcome = DueOutcome(
        finished={
            "evening:a:2026-07-13": "covered",
            "evening:a:2026-07-14": "planned",
            "evening:b:2026-07-14": "planned",
            "repair:b:2026-07-13": "ledger",
        },
        given_back={"evening:c:2026-07-14": "made up"},
        lost=["evening:d:2026-07-14"],
    )
    assert summary(outcome) == ["evening: covered (1), planned (2)", "repair: ledger (1)"]
    with caplog.at_level(logging.INFO, logger="rillwright.schedule"):
        log_outcome(outcome)
    levels = [record.levelname for record in caplog.records]
    assert levels == ["INFO", "INFO", "ERROR", "WARNING"]


def test_a_look_that_finds_nothing_is_silent(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG, logger="rillwright.schedule"):
        log_outcome(DueOutcome())
    assert caplog.records == []
