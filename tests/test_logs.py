"""Log lines: they name their subject, nothing from outside can forge one, libraries join in.

Secrets and stacks are looked for where they must be and must not be.
"""

from __future__ import annotations

import ast
import json
import logging
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.records import Ints
from service.bootstrap import Service
from service.logs import QUIET_LOGGERS, configure_logs, get_logger, log_context, printable
from service.operations.evening import write_plans
from service.operations.schedule.duties import Duties
from service.operations.schedule.run_due import run_due
from service.records.weather import SourceProblem
from tests.api.invented_farm import FARM_ID, plan_evening

ROOT = Path(__file__).resolve().parent.parent
HOSTILE = "x\n2026-07-14T23:00:00.000Z error   forged\r\x1b[2J\x85\u2028\u202e outcome=done"
log = get_logger("service.tests")


@pytest.fixture(autouse=True)
def _logs_as_they_were() -> Iterator[None]:
    root = logging.getLogger()
    before = list(root.handlers), root.level
    levels = {name: logging.getLogger(name).level for name in QUIET_LOGGERS}
    yield
    root.handlers[:], root.level = before
    for name, level in levels.items():
        logging.getLogger(name).setLevel(level)


def lines(capsys: pytest.CaptureFixture[str]) -> list[str]:
    out, err = capsys.readouterr()
    assert out == ""  # what a command prints is its own
    return err.splitlines()


def documents(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in lines(capsys)]


def test_a_line_says_when_what_and_about_what(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("json")
    before = datetime.now(UTC) - timedelta(seconds=1)
    with log_context(run_key="evening:orchard:2026-07-14", site="home"):
        log.info("refreshed", outcome="new", on=date(2026, 7, 14), seconds={"reading": 0.25})
    log.warning("later")
    first, second = documents(capsys)
    stamp = first.pop("at")
    assert stamp.endswith("Z")
    assert before < datetime.fromisoformat(stamp) < before + timedelta(minutes=1)
    assert first == {
        "level": "info",
        "event": "refreshed",
        "logger": "service.tests",
        "run_key": "evening:orchard:2026-07-14",
        "site": "home",
        "outcome": "new",
        "on": "2026-07-14",
        "seconds": {"reading": 0.25},
    }
    assert second["level"] == "warning"
    assert "run_key" not in second and "site" not in second


def test_a_console_line_reads_from_left_to_right(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("console")
    log.info("run done", run_key="evening:orchard:2026-07-14", outcome="planned late", count=3)
    (line,) = lines(capsys)
    assert line.split("Z ", 1)[1] == (
        'info    run done  run_key=evening:orchard:2026-07-14 outcome="planned late" count=3'
    )


def test_lines_of_libraries_take_the_same_form(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("json")
    with log_context(run_key="prune:2026-07-14"):
        logging.getLogger("some.library").warning("took %d s", 3)
    (line,) = documents(capsys)
    assert (line["event"], line["logger"]) == ("took 3 s", "some.library")
    assert line["run_key"] == "prune:2026-07-14"


@pytest.mark.parametrize("name", ["httpx", "httpcore", "uvicorn.access", "alembic"])
def test_libraries_that_tell_each_request_are_not_heard(
    capsys: pytest.CaptureFixture[str], name: str
) -> None:
    configure_logs("console", level="debug")
    logging.getLogger(name).info("GET https://weather.example/?apikey=hush")
    assert lines(capsys) == []


@pytest.mark.parametrize("place", ["event", "fact", "context", "library", "name of a fact"])
def test_hostile_text_forges_no_line_on_the_console(
    capsys: pytest.CaptureFixture[str], place: str
) -> None:
    configure_logs("console")
    if place == "event":
        log.error(HOSTILE)
    elif place == "fact":
        log.error("failed", reason=HOSTILE)
    elif place == "context":
        with log_context(site=HOSTILE):
            log.error("failed")
    elif place == "library":
        logging.getLogger("some.library").error("failed: %s", HOSTILE)
    else:
        log.error("failed", by_site={HOSTILE: 1})
    (line,) = lines(capsys)
    assert line.isprintable()


def test_a_fact_cannot_pose_as_another_fact(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("console")
    log.error("failed", reason="no outcome=done", outcome="lost")
    (line,) = lines(capsys)
    assert line.endswith('reason="no outcome=done" outcome=lost')


def test_a_fact_cannot_take_the_place_of_what_every_line_has(
    capsys: pytest.CaptureFixture[str],
) -> None:
    configure_logs("json")
    log.error("failed", level="info", at="yesterday")
    (line,) = documents(capsys)
    assert (line["level"], line["level_"], line["at_"]) == ("error", "info", "yesterday")


def test_a_stack_is_indented_under_its_line(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("console")
    try:
        raise RuntimeError(HOSTILE)
    except RuntimeError:
        log.exception("failed")
    first, *stack = lines(capsys)
    assert first.endswith("error   failed")
    assert stack[0] == "    Traceback (most recent call last):"
    assert any("RuntimeError: x" in row for row in stack)
    assert all(row.startswith("    ") and row.isprintable() for row in stack)


def test_a_stack_is_part_of_its_json_line(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("json")
    try:
        raise RuntimeError(HOSTILE)
    except RuntimeError as failure:
        log.error("failed", exc_info=failure)
    (line,) = documents(capsys)
    assert "Traceback" in line["stack"] and "RuntimeError: x" in line["stack"]
    assert "\x1b" not in line["stack"]


def test_facts_that_json_does_not_know_are_written_as_text(
    capsys: pytest.CaptureFixture[str],
) -> None:
    configure_logs("json")
    log.info("odd", path=Path("a"), size=np.int64(3), parts=(1, "two"), ratio=float("nan"))
    (line,) = documents(capsys)
    assert line["path"] == "a" and line["parts"] == [1, "two"] and line["ratio"] is None
    assert line["size"] == "3"


@given(st.text(st.characters(), max_size=200))
def test_printable_text_is_printable_and_plain_text_stays(text: str) -> None:
    shown = printable(text)
    assert shown.isprintable()
    assert (shown == text) == text.isprintable()


def test_a_long_text_is_cut(capsys: pytest.CaptureFixture[str]) -> None:
    configure_logs("json")
    log.info("much", remark="x" * 100_000)
    assert len(lines(capsys)[0]) < 5_000


def test_what_is_below_the_level_is_not_logged_and_a_second_choice_replaces_the_first(
    capsys: pytest.CaptureFixture[str],
) -> None:
    configure_logs("console", level="debug")
    configure_logs("json", level="warning")
    log.info("quiet")
    log.warning("heard once")
    assert [line["event"] for line in documents(capsys)] == ["heard once"]


def test_nothing_is_logged_until_logging_is_configured() -> None:
    program = (
        "from service.logs import get_logger\n"
        "get_logger('service.operations.evening.run_day').error('failed', reason='any')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == done.stderr == ""


def test_the_pure_rooms_do_not_log() -> None:
    for room in ("agronomy", "waterworks"):
        for path in sorted((ROOT / "service" / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    names = {alias.name for alias in node.names}
                elif isinstance(node, ast.ImportFrom):
                    names = {node.module or ""}
                else:
                    continue
                assert not names & {"logging", "structlog", "service.logs"}, path


def test_an_evening_logs_its_counts_and_the_seconds_of_its_phases(
    capsys: pytest.CaptureFixture[str], own_service: Service
) -> None:
    configure_logs("json")
    assert plan_evening(own_service) == []
    (line,) = [each for each in documents(capsys) if each["event"] == "evening run done"]
    assert (line["on"], line["farm_count"], line["failed_farm_count"]) == ("2026-07-14", 2, 0)
    assert line["block_count"] == 3
    assert {"reading", "weather and ET0", "balance", "writing"} <= set(line["seconds"])
    assert all(spent >= 0.0 for spent in line["seconds"].values())


def test_missing_weather_is_logged_by_run_source_and_site(
    capsys: pytest.CaptureFixture[str], own_service: Service
) -> None:
    def refresh(site_keys: Ints, *, now: datetime) -> list[SourceProblem]:
        assert site_keys.size == 2
        return [SourceProblem("nearby", f"site-{n}", "timeout", HOSTILE, None) for n in range(70)]

    configure_logs("json")
    run_due(
        Duties(
            owner="a-scheduler",
            unit_of_work=own_service.unit_of_work,
            clock=own_service.clock,
            source_order=own_service.source_order,
            refreshers={"nearby": refresh},
        )
    )
    found = documents(capsys)
    missing = [each for each in found if each["event"] == "weather missing"]
    assert [each["site"] for each in missing] == [f"site-{n}" for n in range(50)]
    assert {(each["source"], each["outcome"]) for each in missing} == {("nearby", "timeout")}
    assert {each["run_key"] for each in missing} == {"weather:nearby:2026-07-14T18"}
    (rest,) = [each for each in found if each["event"] == "more weather missing"]
    assert rest["problem_count"] == 20
    done = {each["run_key"]: each for each in found if each["event"] == "run done"}
    assert done[f"evening:{FARM_ID}:2026-07-14"]["outcome"] == "planned"
    assert all(each["seconds"] >= 0.0 for each in done.values())


def test_a_farm_that_fails_leaves_its_stack_in_the_log_and_only_there(
    capsys: pytest.CaptureFixture[str], own_service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_arguments: object, **_options: object) -> None:
        raise RuntimeError("the ledger does not close")

    configure_logs("json")
    monkeypatch.setattr(write_plans, "plan_rows", fail)
    reasons = plan_evening(own_service)
    failed = {each["farm"]: each for each in documents(capsys) if each["event"] == "farm failed"}
    assert FARM_ID in failed
    assert "Traceback" in failed[FARM_ID]["stack"]
    assert failed[FARM_ID]["reason"] == "RuntimeError: the ledger does not close"
    assert reasons and not any("Traceback" in reason for reason in reasons)
