"""Leaf and soil tests from the command line, on the invented demonstration farm."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from typer.testing import Result

from tests.cli.conftest import document
from tests.farm_files.test_nutrient_file import LEAF

Command = Callable[..., Result]
BLOCK = "larkbend.young"
STORED = "leaf 2025-08-05"
"""The demonstration's only test of it, which says what kind of blueberry it is."""


def test_a_report_is_stored_classed_listed_and_planned_with(
    own_demo: Command, tmp_path: Path
) -> None:
    assert own_demo("tests", BLOCK, "--remove", STORED).exit_code == 0
    path = tmp_path / "leaf.toml"
    path.write_text(LEAF.replace("2026-08-01", "2025-08-01"), encoding="utf-8")
    found = document(own_demo("test-add", BLOCK, str(path), "--json"))
    assert found["created_count"] == 1
    assert found["cards"][0]["word"] == "low"  # by the laboratory's own range
    assert found["cards"][0]["basis"] == "laboratory"
    shown = own_demo("tests", BLOCK)
    assert "1.7 - 2.1 (laboratory)" in shown.stdout
    assert "The laboratory recommends: 50 lb/ac" in shown.stdout
    plan = document(own_demo("nutrient-plan", BLOCK, "--given", "last-season=50 lb/acre", "--json"))
    assert plan["nitrogen_kg_per_ha"] > 0.0
    assert plan["recommendations"]
    assert all(part["day"] <= plan["last_nitrogen_day"] for part in plan["parts"])
    text = own_demo("nutrient-plan", BLOCK).stdout
    assert "lb/ac" in text and "No soil test" in text
    gone = own_demo("tests", BLOCK, "--remove", "leaf 2025-08-01")
    assert gone.exit_code == 0
    assert "no test is stored" in own_demo("tests", BLOCK).stdout


def test_values_are_given_one_by_one_too_and_soil_is_planned(own_demo: Command) -> None:
    stored = own_demo(
        "test-add", BLOCK, "--kind", "soil", "--taken", "2026-03-01", "--extractant", "mehlich-3",
        "--texture", "sandy-loam", "--reading", "pH=5.8", "--reading", "P=22 mg/kg",
        "--reading", "K=140 lb/ac",
    )  # fmt: skip
    assert stored.exit_code == 0, stored.output
    shown = own_demo("nutrient-plan", BLOCK, "--crop", "rabbiteye-blueberry").stdout
    assert "Year 3" in shown and "threefold" in shown


def test_the_demonstration_answers_for_every_block(demo: Command) -> None:
    for block in ("creek", "young", "blackberry", "vines", "peaches", "apples"):
        plan = document(demo("nutrient-plan", f"larkbend.{block}", "--json"))
        assert plan["nitrogen_kg_per_ha"] >= 0.0


def test_what_is_missing_is_asked_for(own_demo: Command) -> None:
    demo = own_demo
    assert demo("tests", BLOCK, "--remove", STORED).exit_code == 0
    for arguments, word in (
        (("test-add", BLOCK, "--reading", "N=1.6 %"), "kind"),
        (("test-add", BLOCK), "give a file"),
        (("nutrient-plan", BLOCK), "rabbiteye-blueberry"),
        (("nutrient-plan", BLOCK, "--given", "luck=3"), "last-season"),
    ):
        result = demo(*arguments)
        assert result.exit_code == 2, result.output
        assert word in result.output
