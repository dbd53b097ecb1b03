"""Pipes, water and fertiliser from the command line, on the invented demonstration farm."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import time_machine
from typer.testing import Result

from service.demo_farm import FARM_FILE
from tests.cli.conftest import document

Command = Callable[..., Result]
BLOCK, SUPPLY = "larkbend.creek", "larkbend.creek-pump"
_VOLUMES = (205, 198, 192, 210, 180, 200, 195, 188, 202, 170, 196, 208, 190, 204, 185, 199)
CAUGHT = [str(volume) for volume in _VOLUMES]
LINE = """
name = "invented line"
emitter_flow = "2 L/h"
emitter_spacing = "0.46 m"
lateral_diameter = "16 mm"
emitter_count = 100
inlet_pressure = "10 m"
manufacturer_variation = 0.03
"""
LABORATORY = """
laboratory = "Invented laboratory"
taken = 2026-05-01
temperature = "20 degC"

[readings]
ph = 7.8
ec = "520 uS/cm"
alkalinity = "120 mg/L CaCO3"
calcium = "48 mg/L"
magnesium = "12 mg/L"
sodium = "40 mg/L"
chloride = "60 mg/L"
sulfate = "50 mg/L"
iron = "<0.05 mg/L"
"""
TITRATION = """
[titration]
acid_normality = 0.02
sample = "100 ml"
points = [[0, 7.8], [5, 6.5], [12, 4.4]]
"""


@pytest.fixture
def line_file(tmp_path: Path) -> Path:
    path = tmp_path / "line.toml"
    path.write_text(LINE, encoding="utf-8")
    return path


@pytest.fixture
def laboratory_file(tmp_path: Path) -> Path:
    path = tmp_path / "laboratory.toml"
    path.write_text(LABORATORY, encoding="utf-8")
    return path


def test_a_line_in_a_file_gives_the_benchmark(empty: Command, line_file: Path) -> None:
    found = document(empty("lateral", "--file", str(line_file), "--json"))
    # EPANET 2.2 by the kept figures of the lateral benchmark: first and last emitter, total, EU.
    assert found["row"]["emitter_flow_l_per_h"][0] == pytest.approx(1.99956, abs=2e-5)
    assert found["row"]["emitter_flow_l_per_h"][-1] == pytest.approx(1.98579, abs=2e-5)
    assert found["inlet_flow_l_per_h"] == pytest.approx(198.93, abs=0.05)
    assert found["design_uniformity_pct"] == pytest.approx(96.02, abs=0.01)
    assert found["cautions"]


def test_a_line_is_drawn_for_the_terminal_and_as_svg(
    empty: Command, line_file: Path, tmp_path: Path
) -> None:
    picture = tmp_path / "line.svg"
    result = empty("lateral", "--file", str(line_file), "--svg", str(picture))
    assert result.exit_code == 0, result.output
    assert "|*" in result.stdout
    drawn = picture.read_text(encoding="utf-8")
    assert drawn.startswith("<svg ")
    assert "<title" in drawn and '<path class="line level"' in drawn and "<style>" in drawn


def test_a_row_that_water_does_not_reach_says_from_which_emitter_on(
    empty: Command, tmp_path: Path
) -> None:
    path = tmp_path / "steep.toml"
    path.write_text(LINE.replace('"10 m"', '"1 m"') + 'row_slope = "5 %"\n', encoding="utf-8")
    result = empty("lateral", "--file", str(path))
    assert result.exit_code == 0
    assert "nothing flows from emitter" in " ".join(result.stdout.split())


def test_faults_of_a_line_are_listed_all_at_once(empty: Command, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(
        LINE.replace('"16 mm"', '"16"').replace("= 100", "= 100.5") + "colour = 1\n",
        encoding="utf-8",
    )
    result = empty("lateral", "--file", str(path))
    assert result.exit_code == 2
    for word in ("lateral_diameter", "emitter_count", "colour"):
        assert word in result.stderr


@pytest.fixture
def without_pipes(own_demo: Command, tmp_path: Path) -> Command:
    """Commands on the demonstration's farm, none of whose blocks says anything of its pipes."""
    farm = tmp_path / "farm.toml"
    pipes = r"\[block\.hydraulics\]\n(?:[a-z_]+ = .*\n)+"
    farm.write_text(re.sub(pipes, "", FARM_FILE.read_text("utf-8")))
    with time_machine.travel("2026-07-14T23:00:00+00:00", tick=False):
        assert own_demo("load", str(farm)).exit_code == 0
    return own_demo


def test_pipes_of_every_block_of_the_demonstration_are_described(demo: Command) -> None:
    for block in ("creek", "young", "blackberry", "vines", "peaches", "apples"):
        found = document(demo("lateral", f"larkbend.{block}", "--json"))
        # As the field test of the creek block, and as an even drip system commonly is.
        assert found["design_uniformity_pct"] > 90.0


def test_a_block_without_pipes_is_not_found_with_what_to_do(without_pipes: Command) -> None:
    result = without_pipes("lateral", "larkbend.young")
    assert result.exit_code == 1
    assert "[block.hydraulics]" in result.stderr


def test_a_field_test_changes_the_plan_only_when_it_is_turned_on(own_demo: Command) -> None:
    before = document(own_demo("catch-test", BLOCK, *CAUGHT, "--json"))
    assert before["plan_uniformity_pct"] == 90.0
    after = document(own_demo("catch-test", BLOCK, *CAUGHT, "--use", "--json"))
    assert after["plan_uniformity_pct"] == pytest.approx(92.63, abs=0.01)
    assert "interval" in after["plan_origin"]
    assert after["emission_uniformity_low_pct"] < 92.63 < after["emission_uniformity_high_pct"]
    shown = own_demo("catch-test", BLOCK)
    assert "92.6 %" in shown.stdout


def test_a_volume_below_zero_is_refused_as_a_volume_not_taken_for_an_option(demo: Command) -> None:
    result = demo("catch-test", BLOCK, *CAUGHT[:-1], "-5")
    assert result.exit_code == 2
    assert "volume" in result.stderr and "-5" in result.stderr
    assert "No such option" not in result.stderr


@pytest.mark.parametrize("word", ["--onn", "-x"])
def test_an_option_that_a_field_test_does_not_have_is_refused(demo: Command, word: str) -> None:
    result = demo("catch-test", BLOCK, *CAUGHT, word)
    assert result.exit_code == 2
    assert word in result.stderr


def test_a_stored_analysis_is_reported_with_sources(
    own_demo: Command, laboratory_file: Path
) -> None:
    assert own_demo("water-add", SUPPLY, str(laboratory_file)).exit_code == 0
    result = own_demo("water-report", BLOCK)
    assert result.exit_code == 0, result.output
    for word in ("FAO-29", "Bucks", "Calcium carbonate saturation", "Not known: boron"):
        assert word in result.stdout
    found = document(own_demo("water-report", BLOCK, "--json"))
    assert abs(found["analysis"]["charge_balance"]["difference_pct"]) < 10.0
    assert found["cautions"]


def test_a_report_speaks_of_quantities_by_name_and_always_of_the_balance(
    empty: Command, laboratory_file: Path
) -> None:
    text = laboratory_file.read_text(encoding="utf-8").replace("taken = 2026-05-01\n", "")
    laboratory_file.write_text(text, encoding="utf-8")
    said = " ".join(empty("water-report", "--file", str(laboratory_file)).stdout.split())
    assert "Charge balance: 5.12 meq/L of cations, 5.13 of anions, difference -0.1 %" in said
    assert "water analysis, day not given" in said and "0001" not in said
    assert "Not known: boron; needed for" in said and "Not known: nitrate (as N)" in said
    assert "_per_" not in said and "ds_m" not in said
    found = document(empty("water-report", "--file", str(laboratory_file), "--json"))
    assert found["day"] is None
    laboratory_file.write_text(text.replace('sulfate = "50 mg/L"\n', ""), encoding="utf-8")
    said = " ".join(empty("water-report", "--file", str(laboratory_file)).stdout.split())
    assert "Charge balance: not known" in said


def test_alkalinity_that_balances_in_the_other_form_is_asked_about(own_demo: Command) -> None:
    lines = (
        "bicarbonate=250.2 mg/L", "calcium=5 meq/L", "magnesium=2 meq/L", "sodium=1 meq/L",
        "chloride=2 meq/L", "sulfate=1 meq/L", "ph=7.5",
    )  # fmt: skip
    given = [part for line in lines for part in ("--reading", line)]
    said = " ".join(own_demo("water-add", SUPPLY, *given, "--on", "2026-05-01").stdout.split())
    assert "with bicarbonate read as mg/L as CaCO3 they would differ by" in said
    report = " ".join(own_demo("water-report", BLOCK).stdout.split())
    assert "Ask the laboratory which form it prints" in report


def test_a_crop_that_bears_little_boron_is_not_told_that_it_is_harmless(
    empty: Command, laboratory_file: Path
) -> None:
    text = laboratory_file.read_text(encoding="utf-8")
    laboratory_file.write_text(text + 'boron = "0.65 mg/L"\n', encoding="utf-8")
    command = ("water-report", "--file", str(laboratory_file), "--json")
    alone = {each["name"]: each["word"] for each in document(empty(*command))["restrictions"]}
    assert alone["boron_mg_per_l"] == "none"
    found = document(empty(*command, "--crop", "blackberry"))
    assert "boron_mg_per_l" not in {each["name"] for each in found["restrictions"]}
    own = {each["name"]: each["word"] for each in found["crop_classes"]}
    assert own == {"boron_mg_per_l": "severe", "chloride_meq_per_l": "none"}
    shown = " ".join(empty(*command[:-1], "--crop", "blackberry").stdout.split())
    assert "Boron, for this crop" in shown and "Maas 1990" in shown
    # 120 mg/L of alkalinity is much for a crop that grows on acid soils.
    shown = " ".join(empty(*command[:-1], "--crop", "blueberry").stdout.split())
    assert "limes a soil that must stay acid" in shown


def test_each_class_is_shown_with_its_source_and_usual_practice(
    empty: Command, laboratory_file: Path
) -> None:
    text = laboratory_file.read_text(encoding="utf-8")
    laboratory_file.write_text(
        text + 'manganese = "0.2 mg/L"\nbacteria = "12000 /ml"\n', encoding="utf-8"
    )
    printed = " ".join(empty("water-report", "--file", str(laboratory_file)).stdout.split())
    assert "Classes: FAO-29" in printed and "Classes: Bucks" in printed
    assert "Manganese: Aerate" in printed and "Bacteria: Chlorinate" in printed
    assert "12,000 per mL" in printed
    # Chlorine for slime and acid for scale may both be common: never into the same water.
    assert "give off chlorine gas" in printed


@pytest.mark.parametrize("what", ["dissolved-solids=1,200 mg/L", "bacteria=50,000 /ml"])
def test_a_comma_that_may_mean_thousands_is_queried(own_demo: Command, what: str) -> None:
    result = own_demo("water-add", SUPPLY, "--reading", what, "--on", "2026-05-01")
    assert result.exit_code == 2
    assert "either" in result.stderr


def test_what_is_measured_on_a_day_to_come_is_refused(own_demo: Command) -> None:
    for command in (
        ("water-add", SUPPLY, "--reading", "ph=7.8", "--on", "2099-01-01"),
        ("catch-test", BLOCK, *CAUGHT, "--on", "2099-01-01"),
    ):
        result = own_demo(*command)
        assert result.exit_code == 2, result.output
        assert "a day up to" in result.stderr


def test_an_analysis_may_be_given_value_by_value(own_demo: Command) -> None:
    result = own_demo(
        "water-add", SUPPLY, "--reading", "ph=7.8", "--reading", "alkalinity=120 mg/L CaCO3",
        "--reading", "ec=0,5 dS/m", "--on", "2026-05-01",
    )  # fmt: skip
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ('calcium = "48"', "unit"),
        ('chlorine = "1 mg/L"', "chlorine"),
        ('calcium = "much"', "much"),
        ("ec = 520", "unit"),
    ],
)
def test_what_a_laboratory_cannot_have_written_is_refused(
    empty: Command, tmp_path: Path, line: str, word: str
) -> None:
    key = line.split(" ", maxsplit=1)[0]
    kept = [each for each in LABORATORY.splitlines() if not each.startswith(f"{key} =")]
    path = tmp_path / "bad.toml"
    path.write_text("\n".join([*kept, line, ""]), encoding="utf-8")
    result = empty("water-report", "--file", str(path))
    assert result.exit_code == 2
    assert word in result.stderr


def test_charges_that_do_not_balance_are_reported_as_unbalanced(
    empty: Command, tmp_path: Path
) -> None:
    path = tmp_path / "off.toml"
    path.write_text(LABORATORY.replace("60 mg/L", "300 mg/L"), encoding="utf-8")
    result = empty("water-report", "--file", str(path))
    assert result.exit_code == 0
    assert "The charges do not balance" in result.stdout


def test_no_acid_dose_is_shown_without_its_cautions(empty: Command, laboratory_file: Path) -> None:
    options = ("--to", "6.5", "--acid", "sulfuric", "--strength", "93")
    result = empty("acid", "--file", str(laboratory_file), *options)
    assert result.exit_code == 0, result.output
    words = " ".join(result.stdout.split())
    for caution in (
        "never an instruction",
        "Always add acid to water",
        "chlorine gas",
        "Local code",
    ):
        assert caution in words
    # Cautions first, on every surface.
    assert words.index("Local code") < words.index("mmol/L")
    found = document(empty("acid", "--file", str(laboratory_file), *options, "--json"))
    assert len(found["cautions"]) >= 5
    assert next(iter(found)) == "cautions"


def test_a_short_injection_and_its_season_in_gallons_and_in_litres(
    own_demo: Command, tmp_path: Path
) -> None:
    path = tmp_path / "titrated.toml"
    path.write_text(LABORATORY + TITRATION, encoding="utf-8")
    own_demo("water-add", SUPPLY, str(path))
    options = (
        BLOCK, "--to", "4.5", "--acid", "sulfuric", "--strength", "93", "--minutes", "30 min",
        "--material", "plastic", "--material", "stainless-steel", "--injections", "10",
        "--tank-rate", "20 gph", "--price", "8 per gal",
    )  # fmt: skip
    found = document(own_demo("acid", *options, "--json"))
    assert found["lowest_ph"] == 4.5
    one, season = found["injection"], found["season"]
    assert one["water_l"] == pytest.approx(found["flow_l_per_h"] / 2.0)
    assert season["block"]["product_l"] == pytest.approx(10.0 * one["acid"]["product_l"])
    assert season["block_cost"] == pytest.approx(8.0 * season["block"]["product_l"] / 3.785411784)
    said = " ".join(own_demo("acid", *options).stdout.split())
    assert said.index("Local code") < said.index("Lowest pH here: 4.5") < said.index("mmol/L")
    assert "This crop wants acid soil" in said and "gal" in said and "lb/ac" in said
    assert "1. Protective gear on" in said and "6. Flush with clean water" in said
    metric = own_demo("acid", *options, "--units", "si").stdout
    assert " L, " in metric and "fl oz" not in metric
    refused = own_demo("acid", *options, "--material", "brass")
    assert refused.exit_code == 2 and "Brass and bronze" in refused.stderr
    assert own_demo("acid", *options, "--price", "cheap").exit_code == 2


def test_acid_that_was_given_is_recorded_listed_and_deleted(own_demo: Command) -> None:
    options = ("--on", "2026-06-02", "--acid", "sulfuric", "--strength", "93")
    said = own_demo("acid-given", BLOCK, "2 gal", *options)
    assert said.exit_code == 0, said.output
    assert "2 gal" in said.stdout and "of sulfur" in said.stdout
    found = document(own_demo("acid-given", BLOCK, "--json"))
    assert found["treatments"][0]["product_l"] == pytest.approx(7.570824)
    assert own_demo("acid-given", BLOCK, "2 bottles").exit_code == 2
    gone = own_demo("acid-given", BLOCK, "--on", "2026-06-02", "--delete")
    assert gone.exit_code == 0 and "No acid is recorded" in gone.stdout
    assert own_demo("acid-given", BLOCK, "--on", "2026-06-02", "--delete").exit_code == 1


def test_a_titration_beats_the_model(empty: Command, tmp_path: Path) -> None:
    path = tmp_path / "titrated.toml"
    path.write_text(LABORATORY + TITRATION, encoding="utf-8")
    found: Any = document(
        empty("acid", "--file", str(path), "--to", "6.5", "--acid", "sulfuric", "--strength",
              "93", "--json")
    )  # fmt: skip
    # 5 mL of 0.02 N in 100 mL are 1 meq/L, half of it mmol/L of sulfuric acid: by hand.
    assert found["basis"] == "titration"
    assert found["dose_mmol_per_l"] == pytest.approx(0.5, rel=1e-3)
    assert found["model_dose_mmol_per_l"] == pytest.approx(0.47, abs=0.02)


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (("--to", "8.5"), "cannot raise it"),
        (("--to", "6.5", "--with-chlorine"), "chlorine gas"),
        (("--to", "4.5"), "a titration of this water"),
    ],
)
def test_an_unsafe_dose_is_refused(
    empty: Command, laboratory_file: Path, options: tuple[str, ...], word: str
) -> None:
    result = empty(
        "acid", "--file", str(laboratory_file), "--acid", "sulfuric", "--strength", "93", *options
    )
    assert result.exit_code == 2
    assert word in result.stderr


def test_no_chlorine_dose_is_shown_without_its_cautions(
    own_demo: Command, laboratory_file: Path
) -> None:
    options = ("--free", "2", "--strength", "125")
    said = " ".join(own_demo("chlorine", "--file", str(laboratory_file), *options).stdout.split())
    for word in (
        "an ESTIMATE",
        "Never mix acid with chlorine",
        "backflow prevention",
        "Local code",
        "in many places licensed",
        "Never inject chlorine together with fertilizer",
        "free chlorine is the acid that kills",
    ):
        assert word in said, word
    assert said.index("Local code") < said.index("mL per m3")  # cautions first
    own_demo("water-add", SUPPLY, str(laboratory_file))
    found = document(own_demo("chlorine", BLOCK, *options, "--json"))
    dose = found["dose"]
    # Iron below 0.05 mg/L, taken as that, takes 0.03 mg/L: by hand.
    assert dose["dose_mg_per_l"] == pytest.approx(2.0317, abs=1e-4)
    expected = dose["dose_mg_per_l"] * found["flow_l_per_h"] / 1000.0 / 125.0
    assert dose["injector_l_per_h"] == pytest.approx(expected)
    assert len(dose["cautions"]) >= 6
    refused = own_demo("chlorine", BLOCK, *options, "--with-acid")
    assert refused.exit_code == 2 and "chlorine gas" in refused.stderr
    assert own_demo("chlorine", *options).exit_code == 2


def test_pumping_a_plan_takes_power_energy_and_money(demo: Command) -> None:
    found = document(demo("pumping", BLOCK, "--head", "30 m", "--price", "0.2", "--json"))
    pump = found["pumping"]
    assert pump["power_kw"] == pytest.approx(found["flow_l_per_h"] / 3.6e6 * 9.80665 * 30.0 / 0.6)
    assert pump["energy_kwh"] == pytest.approx(pump["power_kw"] * found["planned_min"] / 60.0)
    assert pump["cost"] == pytest.approx(0.2 * pump["energy_kwh"])
    told = demo("pumping", BLOCK, "--head", "100 ft", "--price", "0.2").stdout
    assert "kWh, cost" in " ".join(told.split())


def test_nitrate_of_the_water_is_counted_as_nitrogen(own_demo: Command) -> None:
    own_demo("water-add", SUPPLY, "--reading", "nitrate-nitrogen=10 mg/L", "--reading", "ph=7.5",
             "--on", "2026-05-01")  # fmt: skip
    found = document(own_demo("water-report", BLOCK, "--json"))
    year = found["nitrogen_loads"][-1]
    # 10 mg/L in 600 mm, 6,000 m3/ha, are 60 kg/ha: by hand.
    assert year["load_kg_per_ha"] == pytest.approx(60.0 * year["gross_mm"] / 600.0)
    assert "Nitrogen in" in own_demo("water-report", BLOCK).stdout


def test_what_phosphoric_acid_feeds_is_given_for_the_plan_and_the_year(
    own_demo: Command, laboratory_file: Path
) -> None:
    own_demo("water-add", SUPPLY, str(laboratory_file))
    options = (BLOCK, "--to", "6.5", "--acid", "phosphoric", "--strength", "75")
    found = document(own_demo("acid", *options, "--json"))
    plan_load, year_load = found["loads"]
    assert plan_load["nutrient"] == "phosphorus"
    for load in (plan_load, year_load):
        # 1 mm is 10 m3 on a hectare: by hand.
        expected = found["nutrient_g_per_m3"] * load["gross_mm"] * 10.0 / 1000.0
        assert load["load_kg_per_ha"] == pytest.approx(expected)
    assert year_load["gross_mm"] > 0.0 and year_load["first_day"].endswith("-01-01")
    said = own_demo("acid", *options).stdout
    assert "lb/ac phosphorus" in said and "pH in the pipe" in said
    # The flow of an acid dose is the one that the pipes and the flow check count with.
    assert found["flow_l_per_h"] > 0.0


def test_phosphorus_of_an_acid_is_held_against_what_a_season_commonly_takes(
    own_demo: Command,
) -> None:
    lines = ("ph=8.1", "alkalinity=12 meq/L", "ec=1.5 dS/m")
    given = [part for line in lines for part in ("--reading", line)]
    own_demo("water-add", SUPPLY, *given, "--on", "2026-05-01")
    options = (BLOCK, "--to", "5.8", "--acid", "phosphoric", "--strength", "75")
    found = document(own_demo("acid", *options, "--json"))
    assert found["loads"][-1]["load_kg_per_ha"] > 60.0
    assert "large-season" in [each["key"] for each in found["dose_advisories"]]


def test_water_without_alkalinity_has_no_dose(empty: Command, tmp_path: Path) -> None:
    path = tmp_path / "soft.toml"
    path.write_text(LABORATORY.replace('"120 mg/L CaCO3"', '"0 mg/L CaCO3"'), encoding="utf-8")
    result = empty(
        "acid", "--file", str(path), "--to", "6.5", "--acid", "sulfuric", "--strength", "93"
    )
    assert result.exit_code == 2
    assert "alkalinity" in result.stderr


def test_an_injection_is_ordered_listed_shown_with_the_plan_and_cancelled(
    own_demo: Command,
) -> None:
    order = (
        "fertigate", BLOCK, "--on", "2026-07-15", "--product", "urea=5 kg", "--stock", "50 L",
        "--injector", "5 L/h to 150 L/h", "--travel", "12 min",
    )  # fmt: skip
    late = ("--last-nitrogen", "2026-07-10")
    refused = own_demo(*order, *late)
    assert refused.exit_code == 2
    assert "2.33 kg of nitrogen on 2026-07-15" in refused.stderr
    assert "--late-nitrogen" in refused.stderr
    result = own_demo(*order, *late, "--late-nitrogen")
    assert result.exit_code == 0, result.output
    words = " ".join(result.stdout.split())
    assert "WARNING: 2.33 kg of nitrogen" in words
    assert "backflow prevention" in words
    assert [each["day"] for each in document(
        own_demo("fertigations", BLOCK, "--from", "2026-07-01", "--json")
    )] == ["2026-07-15"]  # fmt: skip
    assert own_demo("run-day", "--on", "2026-07-14").exit_code == 0
    shown = " ".join(own_demo("plan", "--block", BLOCK, "--on", "2026-07-15").stdout.split())
    assert "INJECT" in shown
    assert "backflow prevention" in shown
    assert own_demo("fertigate", BLOCK, "--on", "2026-07-15", "--cancel").exit_code == 0
    assert own_demo("fertigate", BLOCK, "--on", "2026-07-15", "--cancel").exit_code == 1


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"--product": "potassium-sulfate=20 kg"}, "g/L"),
        ({"--product": "guano=5 kg"}, "not known"),
        ({"--product": "urea=5"}, "kg"),
        ({"--travel": None}, "dye"),
        ({"--injector": "150 L/h to 5 L/h"}, "below the highest"),
    ],
)
def test_an_impossible_order_is_refused_with_its_reason(
    without_pipes: Command, changes: dict[str, str | None], word: str
) -> None:
    given: dict[str, str | None] = {
        "--on": "2026-07-15",
        "--product": "urea=5 kg",
        "--stock": "50 L",
        "--injector": "5 L/h to 150 L/h",
        "--travel": "12 min",
        **changes,
    }
    options = [part for name, value in given.items() if value for part in (name, value)]
    # A block without pipes, whose travel time cannot be worked out.
    result = without_pipes("fertigate", "larkbend.young", *options)
    assert result.exit_code == 2
    assert word in result.stderr


def test_calcium_and_sulfate_do_not_go_into_one_tank(own_demo: Command) -> None:
    result = own_demo(
        "fertigate", BLOCK, "--on", "2026-07-15", "--product", "calcium-nitrate=2 kg", "--product",
        "ammonium-sulfate=2 kg", "--stock", "50 L", "--injector", "5 L/h to 150 L/h", "--travel",
        "12 min",
    )  # fmt: skip
    assert result.exit_code == 2
    assert "in one tank" in result.stderr


def test_calcium_into_a_water_rich_in_bicarbonate_is_said_when_it_is_ordered(
    own_demo: Command,
) -> None:
    lines = ("ph=7.8", "alkalinity=4 meq/L", "calcium=4 meq/L", "ec=0.6 dS/m")
    given = [part for line in lines for part in ("--reading", line)]
    own_demo("water-add", SUPPLY, *given, "--on", "2026-05-01")
    ordered = own_demo(
        "fertigate", BLOCK, "--on", "2026-07-15", "--product", "calcium-nitrate=8 kg", "--stock",
        "50 L", "--injector", "5 L/h to 150 L/h", "--travel", "12 min", "--json",
    )  # fmt: skip
    found = {each["key"]: each["text"] for each in document(ordered)["advisories"]}
    assert "the water's own bicarbonate" in found["calcite-in-lines"]


def test_a_labelled_product_is_stored_listed_and_split_over_a_season(own_demo: Command) -> None:
    added = own_demo(
        "fertiliser-add", "larkbend", "invented-10", "--name", "Invented 10-0-0", "--urea-nitrogen",
        "10", "--density", "1.1",
    )  # fmt: skip
    assert added.exit_code == 0, added.output
    assert "invented-10" in own_demo("fertilisers", "larkbend").stdout
    assert "invented-10" not in own_demo("fertilisers").stdout
    found = document(
        own_demo(
            "fertiliser-split", BLOCK, "--need", "nitrogen=40", "--product", "invented-10", "--day",
            "2026-05-01", "--day", "2026-06-01", "--day", "2026-09-01", "--json",
        )
    )  # fmt: skip
    parts = found["days"]
    assert found["last_nitrogen"]["day"] == "2026-07-31"  # blueberries, by default
    assert [each["need"]["is_after_last_nitrogen"] for each in parts] == [False, False, True]
    assert parts[2]["product_kg"] == [0.0]
    assert sum(each["need"]["need"]["nitrogen_kg_per_ha"] for each in parts) == pytest.approx(40.0)


def test_a_split_says_what_is_missing_and_what_comes_along_in_the_farms_units(
    demo: Command,
) -> None:
    days = [part for month in (3, 4, 5, 6) for part in ("--day", f"2026-0{month}-01")]
    needs = ("--need", "N=53.5 lb/ac", "--need", "K2O=43 lb/ac")
    split = ("fertiliser-split", BLOCK, *needs, *days, "--product", "ammonium-sulfate")
    shown = " ".join(demo(*split).stdout.split())
    assert "36 lb/ac (40 kg/ha) of potassium were asked for" in shown
    assert "of sulfur, which was not asked for" in shown
    assert "Season asked for, lb/ac given, lb/ac" in shown
    assert "nitrogen 53.5 53.5" in shown
    # 60 kg/ha over 0.6 ac (0.2428 ha) in 21.2 % product: 68.7 kg, four days of 37.85 lb.
    assert "2026-03-01 37.85" in shown
    metric = " ".join(demo(*split, "--units", "si").stdout.split())
    assert "2026-03-01 17.17" in metric and "nitrogen 60 60" in metric


@pytest.mark.parametrize(
    "need", ["nitrogen", "nitrogen=-4", "nitrogen=4 stone", "gold=4", "nitrogen=nan", "nitrogen=0"]
)
def test_a_need_that_cannot_be_read_is_refused(demo: Command, need: str) -> None:
    result = demo(*SPLIT, "--need", need)
    assert result.exit_code == 2
    assert "--need" in result.stderr


SPLIT = ("fertiliser-split", BLOCK, "--product", "calcium-nitrate", "--day", "2026-05-01")


def test_a_split_season_stands_with_its_cautions(demo: Command) -> None:
    shown = " ".join(demo(*SPLIT, "--need", "nitrogen=30").stdout.split())
    for word in ("Cautions", "backflow prevention", "Mix the products with", "local code"):
        assert word in shown
    assert (
        "27 lb/ac (30 kg/ha) of nitrogen on 2026-05-01: one event commonly brings up to 18" in shown
    )
    # The crop of this block is blueberry.
    assert "the crop wants ammonium" in shown
    found = document(demo(*SPLIT, "--need", "nitrogen=30", "--json"))
    assert {each["key"] for each in found["advisories"]} == {
        "nutrient-unasked",
        "large-event",
        "nitrate-form",
    }
    assert "backflow-prevention" in [each["key"] for each in found["cautions"]]


def test_nine_hundred_kilograms_of_nitrogen_in_a_day_are_refused(own_demo: Command) -> None:
    result = own_demo(*SPLIT, "--need", "nitrogen=900")
    assert result.exit_code == 2
    assert "up to 50 kg/ha (45 lb/ac) in one event" in result.stderr
    ordered = own_demo(
        "fertigate", BLOCK, "--on", "2026-07-15", "--product", "urea=9000 kg", "--stock",
        "30000 L", "--injector", "5 L/h to 150 L/h", "--travel", "12 min",
    )  # fmt: skip
    assert ordered.exit_code == 2
    assert "(45 lb/ac) in one event" in ordered.stderr


def test_capacity_of_a_farm_file_is_a_table_and_a_picture(empty: Command, tmp_path: Path) -> None:
    farm, weather, picture = (tmp_path / name for name in ("farm.toml", "weather.csv", "c.svg"))
    farm.write_text(
        """
[farm]
id = "invented"
zone = "America/New_York"

[[site]]
id = "home"
latitude = 35.9
longitude = -79.2
elevation = "150 m"

[[supply]]
id = "well"
flow = "2 m3/h"

[[block]]
id = "one"
crop = "grape-wine"
area = "0.1 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "1.5 L/h"
soil = { texture = "loam" }
season = { start = "03-01", lengths = [20, 30, 150, 30] }
""",
        encoding="utf-8",
    )
    days = np.arange(np.datetime64("2021-02-01"), np.datetime64("2022-11-05"))
    lines = [f"{day},{28 + place % 5},{14 + place % 3},0" for place, day in enumerate(days)]
    weather.write_text("\n".join(["date,tmax_c,tmin_c,rain_mm", *lines, ""]), encoding="utf-8")
    result = empty("capacity", str(farm), "--weather", str(weather), "--svg", str(picture))
    assert result.exit_code == 0, result.output
    for word in (
        "Summers it keeps up",
        "pump",
        "windows open day and night",
        "second drip line",
        "95 %",
    ):
        assert word in result.stdout
    assert "2 summers are few" in result.stdout
    assert "<rect" in picture.read_text(encoding="utf-8")
    in_us_units = empty("capacity", str(farm), "--weather", str(weather), "--units", "us").stdout
    assert "gal/min/ac" in in_us_units
    assert "L/s" not in in_us_units
    short = tmp_path / "short.csv"
    short.write_text("\n".join(["date,tmax_c,tmin_c,rain_mm", *lines[:90], ""]), encoding="utf-8")
    refused = empty("capacity", str(farm), "--weather", str(short))
    assert refused.exit_code == 2
    assert "no summer" in refused.stderr


def test_capacity_of_a_stored_farm_uses_the_weather_measured_at_its_site(demo: Command) -> None:
    result = demo("capacity", "larkbend", "--json")
    assert "as measured at demo-alderway and stored, 2025-01-01 to 2026-07-13" in result.stderr
    summers = {
        (summer["first_day"], summer["last_day"])
        for supply in document(result)["supplies"]
        for summer in supply["summers"]
    }
    assert summers == {("2025-04-01", "2025-10-31")}


def test_commands_of_fertilizer_have_their_british_names_too(demo: Command) -> None:
    shown = demo("fertilizers")
    assert "calcium-nitrate-tetrahydrate " in shown.stdout
    assert shown.exit_code == 0
    assert demo("fertilisers").stdout == shown.stdout
    help_text = demo("--help").stdout
    assert "fertilizer-split" in help_text and "fertiliser" not in help_text


@pytest.mark.parametrize(
    ("arguments", "in_us", "in_si"),
    [
        (("lateral", BLOCK), "psi", "L/h"),
        (("pumping", BLOCK, "--head", "100 ft"), "gal/min", "L/h"),
        (("chlorine", BLOCK, "--free", "1", "--strength", "125"), "fl oz", "mL"),
        (("flow-check", BLOCK), "gal/h", "L/h"),
    ],
)
def test_a_farm_reads_its_pipes_in_its_own_units(
    demo: Command, arguments: tuple[str, ...], in_us: str, in_si: str
) -> None:
    own, other = demo(*arguments), demo(*arguments, "--units", "si")
    assert (own.exit_code, other.exit_code) == (0, 0), own.output + other.output
    assert in_us in own.stdout and in_si not in own.stdout
    assert in_si in other.stdout and in_us not in other.stdout


def test_a_split_says_each_day_for_the_block_and_for_an_acre_or_a_hectare(demo: Command) -> None:
    asked = (*SPLIT, "--need", "nitrogen=30")
    in_acres = demo(*asked).stdout
    assert "The same on each acre:" in in_acres and "lb/ac" in in_acres
    in_hectares = demo(*asked, "--units", "si").stdout
    assert "The same on each hectare:" in in_hectares and "lb" not in in_hectares.split("!")[0]
    (day, *_) = document(demo(*asked, "--json"))["days"]
    (mass_kg, *_) = day["product_kg"]
    area_ha = 0.6 * 0.40468564224  # the creek block, in acres of NIST Handbook 44
    rows = [line.split() for line in in_hectares.partition("each hectare:")[2].splitlines()]
    assert [float(row[1]) for row in rows if row[:1] == [day["need"]["day"]]] == pytest.approx(
        [mass_kg / area_ha], abs=0.006
    )


def test_advice_leads_with_the_unit_of_the_farm(demo: Command) -> None:
    asked = (*SPLIT, "--need", "nitrogen=30")
    us, si = (" ".join(demo(*asked, "--units", system).stdout.split()) for system in ("us", "si"))
    assert re.search(r"[0-9.]+ lb/ac \([0-9.]+ kg/ha\) of", us)
    assert re.search(r"[0-9.]+ kg/ha \([0-9.]+ lb/ac\) of", si)
