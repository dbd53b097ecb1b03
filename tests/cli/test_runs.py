"""Reported runs on the command line: listed, corrected, undone, imported; and soil readings."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from tests.cli.conftest import Command, document

START = "2026-07-12T05:10"


def first_block(command: Command) -> str:
    """Any block of the demonstration."""
    found = document(command("farm", "larkbend", "--json"))
    rows = found["items"] if "items" in found else found["blocks"]
    return str(rows[0]["block_id"])


@pytest.fixture
def block(own_demo: Command, tmp_path: Path) -> str:
    """A block of which a file reported one run more than the demonstration has."""
    name = first_block(own_demo)
    bring(own_demo, tmp_path, f"start,duration_min\n{START},40\n", "--block", name)
    return name


def bring(command: Command, folder: Path, text: str, *options: str) -> str:
    path = folder / "runs.csv"
    path.write_text(text, encoding="utf-8")
    result = command("runs", "import", "larkbend", str(path), *options)
    return f"{result.exit_code} {' '.join(result.output.split())}"


def minutes_of(command: Command, block: str) -> list[float]:
    day = START[:10]
    found = document(command("runs", "list", block, "--from", day, "--to", day, "--json"))
    return [
        each["duration_min"]
        for each in found["items"]
        if each["started_at"].startswith(f"{day}T09:10")
    ]


def test_a_run_is_listed_corrected_and_undone(own_demo: Command, block: str) -> None:
    assert minutes_of(own_demo, block) == [40.0]
    shown = own_demo("runs", "list", block, "--from", START[:10], "--to", START[:10])
    assert START in shown.output and max(map(len, shown.output.splitlines())) <= 80
    assert own_demo("runs", "correct", block, START, "--minutes", "25").exit_code == 0
    assert minutes_of(own_demo, block) == [25.0]
    undone = own_demo("runs", "undo", block, START)
    assert "is undone" in undone.output
    assert minutes_of(own_demo, block) == []
    assert "undone before" in own_demo("runs", "undo", block, START).output


def test_a_run_that_is_not_there_is_said_so(own_demo: Command, block: str) -> None:
    result = own_demo("runs", "undo", block, "2026-07-12T05:11")
    assert result.exit_code == 1
    result = own_demo(
        "runs", "correct", block, START, "--minutes", "25", "--start", "2027-01-01T00:00"
    )
    assert result.exit_code == 2 and "--start" in result.stderr


def test_a_file_with_a_fault_stores_nothing(own_demo: Command, block: str, tmp_path: Path) -> None:
    said = bring(own_demo, tmp_path, f"block,start,duration_min\n{block},{START},x\n")
    assert said.startswith("2 ") and "line 2, column duration_min" in said
    assert minutes_of(own_demo, block) == [40.0]


def test_a_file_that_is_on_file_changes_nothing(
    own_demo: Command, block: str, tmp_path: Path
) -> None:
    said = bring(own_demo, tmp_path, f"block,start,duration_h\n{block},{START},{40 / 60}\n")
    assert "1 unchanged; no plan changes" in said


@pytest.mark.parametrize(
    ("options", "kind"),
    [
        (("--water", "24 %", "--depth", "8 in"), "volumetric"),
        (("--tension", "35 cb", "--depth", "20 cm", "--reach", "4 in"), "tension"),
        (("--feel", "half"), "estimate"),
    ],
)
def test_a_reading_by_probe_tensiometer_or_feel_is_stored(
    own_demo: Command, options: tuple[str, ...], kind: str
) -> None:
    done = document(own_demo("reading", first_block(own_demo), *options, "--json"))
    assert (done["kind"], done["created_count"]) == (kind, 1)
    assert "of the available water" in own_demo("reading", first_block(own_demo), *options).output


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "give one of"),
        (("--water", "24 %", "--feel", "half"), "give one of"),
        (("--water", "24 %"), "--depth"),
        (("--feel", "half", "--depth", "8 in"), "--depth"),
        (("--water", "240 %", "--depth", "8 in"), "--water"),
        (("--tension", "2 mi", "--depth", "8 in"), "--tension"),
        (("--tension", "30 kPa", "--depth", "4 m"), "--depth"),
        (("--feel", "half", "--at", "2028-01-01T08:00"), "--at"),
    ],
)
def test_a_reading_that_cannot_be_right_is_refused(
    demo: Command, options: tuple[str, ...], said: str
) -> None:
    result = demo("reading", first_block(demo), *options)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())


# --- what happened, and files --------------------------------------------------------------------


def test_the_log_book_tells_of_a_run(own_demo: Command, block: str) -> None:
    shown = own_demo("log-book", block, "--kind", "runs").output
    assert "Ran 40 min from" in shown and max(map(len, shown.splitlines())) <= 80
    found = document(own_demo("log-book", "larkbend", "--kind", "runs", "--json"))
    assert "Ran 40 min from" in found["items"][0]["sentences"][0]
    assert "nothing is recorded" in own_demo("log-book", block, "--to", "2001-01-01").stderr


@pytest.mark.parametrize(
    ("command", "heading"),
    [
        (("log-book", "larkbend"), "What happened"),
        (("runs", "list", "larkbend"), "Minutes, min"),
        (("plan",), "Minutes, min"),
        (("water-used", "larkbend"), "Water, m³"),
    ],
)
def test_a_table_is_saved_by_the_ending_of_its_name(
    demo: Command, tmp_path: Path, command: tuple[str, ...], heading: str
) -> None:
    path = tmp_path / "table.xlsx"
    result = demo(*command, "--units", "si", "--save", str(path))
    assert result.exit_code == 0, result.output
    sheet = openpyxl.load_workbook(path).worksheets[0]
    assert heading in [cell.value for cell in sheet[1]] and sheet.max_row > 1
    assert [each.name for each in tmp_path.iterdir()] == ["table.xlsx"]


def test_a_file_of_another_ending_or_in_no_folder_is_refused(demo: Command, tmp_path: Path) -> None:
    assert "--save" in demo("plan", "--save", "plans.pdf").stderr
    result = demo("plan", "--save", str(tmp_path / "nowhere" / "plans.csv"))
    assert result.exit_code == 2 and "cannot be written" in result.stderr
