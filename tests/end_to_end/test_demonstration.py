"""From an empty file to tomorrow's plan, with what a grower would check by hand."""

from __future__ import annotations

import runpy
import subprocess
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import orjson
import pytest
from sqlalchemy.engine import URL
from typer.testing import CliRunner

import service
from service.cli import app
from service.demo_farm import (
    FARM_FILE,
    FIRST_EVENING,
    LEAF_FILE,
    REFERENCE_BLOCK_ID,
    RUNS_FILE,
    SOIL_FILE,
    WATER_FILE,
    weather_file,
)
from service.farm_files.farm_file import read_farm_file
from service.records.farms import FarmBundle
from tests.databases import address, new_database

ROOT = Path(__file__).resolve().parent.parent.parent


def run(database: URL, *arguments: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(
        app,
        list(arguments),
        env={"RILLWRIGHT_DATABASE_URL": address(database), "COLUMNS": "80"},
    )
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def database(database_kind: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[URL]:
    with new_database(database_kind, tmp_path_factory.mktemp("demonstration")) as url:
        yield url


@pytest.fixture(scope="module")
def first_run(database: URL) -> str:
    code, text, errors = run(database, "demo")
    assert code == 0, errors
    return text


@pytest.fixture(scope="module")
def plans(database: URL, first_run: str) -> dict[str, dict[str, Any]]:
    assert first_run
    _, text, _ = run(database, "plan", "--json")
    return {plan["block_id"]: plan for plan in orjson.loads(text)}


@pytest.fixture(scope="module")
def bundle() -> FarmBundle:
    return read_farm_file(FARM_FILE)


def test_the_demonstration_reads_well_in_eighty_columns(first_run: str) -> None:
    # The database's address is as long as the folder it is in.
    lines = [line for line in first_run.splitlines() if not line.startswith("Database: ")]
    assert max(map(len, lines)) <= 80
    assert first_run.startswith("ALL OF THIS IS INVENTED")
    for words in ("WATER", "REST", "Water need by county", "Where to look next"):
        assert words in first_run


def test_a_second_run_changes_nothing(database: URL, first_run: str) -> None:
    code, again, _ = run(database, "demo")
    assert code == 0
    assert again == first_run
    _, text, _ = run(database, "plan", "--json")
    assert {plan["version"] for plan in orjson.loads(text)} == {1}


def test_json_has_the_same_plan(database: URL, plans: dict[str, dict[str, Any]]) -> None:
    _, text, _ = run(database, "demo", "--json")
    story = orjson.loads(text)
    assert {plan["block_id"]: plan for plan in story["plans"]} == plans
    assert len(story["county_need"]["counties"]) == 4


def test_no_supply_gives_more_than_it_has(
    bundle: FarmBundle, plans: dict[str, dict[str, Any]]
) -> None:
    for supply in bundle.supplies:
        flow_l_per_h = [0.0] * (24 * 60)
        for block in bundle.blocks:
            plan = plans[block.block_id]
            if block.supply_id != supply.supply_id or not plan["pulses"]:
                continue
            block_flow = plan["volume_l"] / plan["planned_min"] * 60.0
            for pulse in plan["pulses"]:
                for minute in range(pulse["start_min"], pulse["start_min"] + pulse["duration_min"]):
                    flow_l_per_h[minute] += block_flow
        assert max(flow_l_per_h) <= supply.flow_l_per_h * (1.0 + 1e-9)


def test_the_berries_take_turns_at_the_creek_pump_and_none_is_left_short(
    plans: dict[str, dict[str, Any]],
) -> None:
    berries = [plans[f"larkbend.{name}"] for name in ("creek", "young", "blackberry")]
    assert all(plan["planned_min"] > 0 for plan in berries)
    spans = sorted(
        (pulse["start_min"], pulse["start_min"] + pulse["duration_min"])
        for plan in berries
        for pulse in plan["pulses"]
    )
    assert all(end <= start for (_, end), (start, _) in pairwise(spans))
    assert all(plan["deferred_mm"] < 0.1 for plan in berries)


def test_pulses_keep_to_windows_and_stay_clear_of_the_harvest(
    plans: dict[str, dict[str, Any]],
) -> None:
    def minutes(block: str) -> list[tuple[int, int]]:
        return [
            (pulse["start_min"], pulse["start_min"] + pulse["duration_min"])
            for pulse in plans[f"larkbend.{block}"]["pulses"]
        ]

    assert all(end <= 6 * 60 or begin >= 11 * 60 for begin, end in minutes("blackberry"))
    assert minutes("apples")
    assert all(end <= 6 * 60 for _, end in minutes("apples"))


def test_starts_are_on_the_clock_of_the_farm(plans: dict[str, dict[str, Any]]) -> None:
    for plan in plans.values():
        for pulse in plan["pulses"]:
            starts_at = datetime.fromisoformat(pulse["starts_at"])
            assert starts_at.hour * 60 + starts_at.minute == pulse["start_min"]


def test_a_database_with_other_farms_is_left_alone(own_url: URL, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text(
        FARM_FILE.read_text(encoding="utf-8").replace('id = "larkbend"', 'id = "somebody"')
    )
    assert run(own_url, "migrate")[0] == 0
    assert run(own_url, "load", str(other))[0] == 0
    code, text, errors = run(own_url, "demo")
    assert code == 1
    assert text == ""
    assert "somebody" in errors


def test_the_weather_is_what_its_script_makes(bundle: FarmBundle) -> None:
    script = runpy.run_path(str(ROOT / "examples" / "make_demo_weather.py"))
    for site in bundle.sites:
        stored = weather_file(site.site_id).read_text(encoding="utf-8")
        assert stored == script["content"](site.site_id)
        assert "INVENTED" in stored.splitlines()[0]


def test_the_demonstration_travels_inside_the_package() -> None:
    room = Path(service.__file__).parent
    assert FARM_FILE.is_relative_to(room)
    assert weather_file("demo-alderway").is_relative_to(room)


def test_the_scripts_are_sound_shell() -> None:
    for script in (
        "examples/quickstart.sh",
        "deploy/python.sh",
        "tests/run.sh",
        "tests/postgres.sh",
    ):
        subprocess.run(["bash", "-n", script], cwd=ROOT, check=True)


def test_the_quickstart_names_what_it_does_not_know() -> None:
    result = subprocess.run(
        ["bash", "examples/quickstart.sh", "--sideways"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 2
    assert "--sideways" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("lateral", "larkbend.creek"), "Emission uniformity as designed"),
        (("catch-test", "larkbend.creek"), "field test of 2026-04-20"),
        (
            ("flow-check", "larkbend.creek", "--from", "2026-05-18", "--to", "2026-07-07"),
            "25 metered runs",
        ),
        (("tests", "larkbend.creek"), "rabbiteye-blueberry leaf"),
        (("nutrient-plan", "larkbend.creek"), "Nitrogen of the season"),
        (("water-report", "larkbend.creek"), "Calcium, for this crop"),
        (("parts", "larkbend.creek"), "Emitters"),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_what_can_be_asked_of_a_block_is_answered_right_after_the_demonstration(
    database: URL, first_run: str, arguments: tuple[str, ...], words: str
) -> None:
    assert first_run
    code, text, errors = run(database, *arguments)
    assert code == 0, errors
    assert words in text


def test_no_plan_of_the_demonstration_rests_on_its_invented_reports(bundle: FarmBundle) -> None:
    (creek,) = [block for block in bundle.blocks if block.block_id == REFERENCE_BLOCK_ID]
    assert creek.balance_start == FIRST_EVENING
    lines = RUNS_FILE.read_text("utf-8").splitlines()
    assert lines[0].startswith("# INVENTED")
    assert max(line[:10] for line in lines[2:]) < FIRST_EVENING.isoformat()
    for file in (LEAF_FILE, SOIL_FILE, WATER_FILE):
        assert file.read_text("utf-8").startswith("# INVENTED")
