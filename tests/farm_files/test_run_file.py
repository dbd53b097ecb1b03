"""Files of runs: units by column name, whole or not at all, and every bad line by number."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from service.errors import InputInvalid
from service.farm_files.run_file import MOST_RUNS, parse_runs
from service.records.feedback import RunFile


def parse(text: str) -> RunFile:
    return parse_runs(text.encode(), name="runs.csv")


def faults_of(text: str) -> list[tuple[str, str, str]]:
    with pytest.raises(InputInvalid) as caught:
        parse(text)
    return [(fault.where, fault.found, fault.allowed) for fault in caught.value.faults]


def test_minutes_and_gallons_of_a_block_on_the_sites_clock() -> None:
    (run,) = parse("block,start,duration_min,volume_gal\nnorth,2026-07-14T05:10,75,820\n").runs
    assert (run.line, run.block, run.duration_min) == (2, "north", 75.0)
    assert run.started_at == datetime(2026, 7, 14, 5, 10)  # noqa: DTZ001 - a wall-clock time
    # NIST Handbook 44, Appendix C: 1 gallon = 3.785 411 784 L.
    assert run.volume_l == pytest.approx(3104.0376629)


@pytest.mark.parametrize(
    ("column", "cell", "name", "expected"),
    [
        ("duration_h", "1.5", "duration_min", 90.0),
        ("volume_m3", "3.1", "volume_l", 3100.0),
        ("volume_l", "3100", "volume_l", 3100.0),
        ("depth_in", "0.2", "depth_mm", 5.08),
        ("depth_mm", "5", "depth_mm", 5.0),
    ],
)
def test_a_column_is_read_in_the_unit_that_it_names(
    column: str, cell: str, name: str, expected: float
) -> None:
    (run,) = parse(f"start,{column}\n2026-07-14 05:10,{cell}\n").runs
    assert getattr(run, name) == pytest.approx(expected)


def test_a_time_may_have_its_offset_and_an_end_in_the_place_of_minutes() -> None:
    (run,) = parse("start,end\n2026-07-14T05:10-04:00,2026-07-14T09:40Z\n").runs
    assert run.started_at == datetime(2026, 7, 14, 5, 10, tzinfo=timezone(timedelta(hours=-4)))
    assert run.duration_min == 30.0


def test_a_day_and_a_time_of_day_may_have_columns_of_their_own() -> None:
    (run,) = parse("date,time,duration_min\n2026-07-14,5:10,40\n").runs
    assert run.started_at == datetime(2026, 7, 14, 5, 10)  # noqa: DTZ001 - a wall-clock time


def test_a_decimal_comma_is_read_between_semicolons() -> None:
    (run,) = parse("start;duration_min\n2026-07-14T05:10;40,5\n").runs
    assert run.duration_min == 40.5


@pytest.mark.parametrize(
    ("line", "where", "found"),
    [
        ("north,14.7.2026 05:10,75,", "line 2, column start", "'14.7.2026 05:10'"),
        ("north,2026-02-30T05:10,75,", "line 2, column start", "'2026-02-30T05:10'"),
        ("north,2026-07-14T05:10,soon,", "line 2, column duration_min", "'soon'"),
        ("north,2026-07-14T05:10,-3,", "line 2, column duration_min", "'-3'"),
        ("north,2026-07-14T05:10,,", "line 2", "no amount of water"),
        (",2026-07-14T05:10,75,", "line 2, column block", "nothing"),
        ("north,2026-07-14T05:10", "line 2", "2 cells"),
    ],
)
def test_a_bad_line_is_named_with_its_number_and_column(line: str, where: str, found: str) -> None:
    faults = faults_of(f"block,start,duration_min,volume_gal\n{line}\n")
    assert (f"runs.csv: {where}", found) in [fault[:2] for fault in faults]


@pytest.mark.parametrize(
    ("header", "allowed"),
    [
        ("start,duration_minutes", "did you mean"),
        ("start,date,time,duration_min", "either start, or date and time"),
        ("date,duration_min", "either start, or date and time"),
        ("start,duration_min,duration_h", "one of duration_min, duration_h, end"),
        ("start,volume_l,volume_gal", "one of volume_l, volume_gal, volume_m3"),
        ("block,start", "one or more of"),
        ("start,start,end", "each column once"),
    ],
)
def test_a_header_that_leaves_something_open_is_refused(header: str, allowed: str) -> None:
    cells = ",".join("1" for _ in header.split(","))
    faults = faults_of(f"{header}\n{cells}\n")
    assert any(allowed in fault[2] for fault in faults), faults


def test_an_end_before_its_start_and_mixed_offsets_are_refused() -> None:
    faults = faults_of(
        "start,end\n2026-07-14T05:10,2026-07-14T05:00\n2026-07-14T05:10Z,2026-07-14T05:20\n"
    )
    assert [fault[0] for fault in faults] == [
        "runs.csv: line 2, column end", "runs.csv: line 3, column end",
    ]  # fmt: skip


def test_a_depth_beside_minutes_says_two_things() -> None:
    ((where, _, allowed),) = faults_of("start,duration_min,depth_mm\n2026-07-14T05:10,40,5\n")
    assert (where, allowed) == ("runs.csv: line 2", "one of them")


def test_all_faults_are_listed_and_nothing_is_read() -> None:
    lines = "\n".join("2026-07-14T05:10,x" for _ in range(3))
    assert [fault[0] for fault in faults_of(f"start,duration_min\n{lines}\n")] == [
        f"runs.csv: line {line}, column duration_min" for line in (2, 3, 4)
    ]


def test_a_file_of_too_many_runs_is_refused() -> None:
    lines = "2026-07-14T05:10,4\n" * (MOST_RUNS + 1)
    ((where, found, _),) = faults_of(f"start,duration_min\n{lines}")
    assert (where, found) == ("runs.csv", "10,001 runs")
