"""The daily plan and the weekly timer against a fixed weekly amount, on a season of real weather.

Weather: the typical year of Greensboro NC that pvlib ships (National Solar Radiation Data Base),
SYNTHETIC rain with a fixed seed, invented blocks; see ``season_scenarios``. Amounts of 1 to 2 in
a week in the peak are common practice, no source.
"""

from __future__ import annotations

from dataclasses import asdict
from functools import cache

import pytest

from service.api.comparison_examples import COMPARISON, NITROGEN_KG_PER_HA, WATER_PRICE_PER_M3
from service.operations.review.compare_programs import compare_programs
from service.records.comparison import Against, Program, RuleOfThumb, YearFigures
from tests.factories import daily_fields
from tests.validation.season_scenarios import (
    FIRST_DAY,
    LAST_DAY,
    season_farm,
    synthetic_rain_mm,
)
from tests.validation.tmy_years import read_tmy_year

MM_PER_INCH = 25.4
BLOCKS = ("berry", "wine", "strawberry")


@cache
def figures(
    inches_a_week: float, water_price: float | None = None, nitrogen: float | None = None
) -> dict[str, dict[Program, YearFigures]]:
    raw = read_tmy_year("greensboro").raw
    found = compare_programs(
        season_farm(), raw.days, daily_fields(raw) | {"rain_mm": synthetic_rain_mm()},
        first_day=FIRST_DAY, last_day=LAST_DAY,
        against=Against(
            rule=RuleOfThumb(gross_mm_per_week=inches_a_week * MM_PER_INCH),
            water_price=water_price,
            nitrogen_kg_per_ha=nitrogen,
        ),
    )  # fmt: skip
    return {name: {each.program: each for each in found.years[f"brook.{name}"]} for name in BLOCKS}


@pytest.mark.parametrize("name", BLOCKS)
def test_a_rule_that_covers_the_peak_drains_several_times_as_much(name: str) -> None:
    of = figures(1.5)[name]
    assert of[Program.RULE].gross_mm > of[Program.DAILY].gross_mm
    assert of[Program.RULE].irrigation_drainage_mm > 3.0 * of[Program.DAILY].irrigation_drainage_mm
    assert of[Program.DAILY].stress_day_count <= of[Program.RULE].stress_day_count + 1


@pytest.mark.parametrize("name", BLOCKS)
def test_a_weekly_timer_drains_less_than_the_rule_and_stresses_more_than_the_plan(
    name: str,
) -> None:
    of = figures(1.5)[name]
    assert of[Program.WEEKLY].irrigation_drainage_mm < of[Program.RULE].irrigation_drainage_mm
    assert of[Program.WEEKLY].lost_crop_et_mm >= of[Program.DAILY].lost_crop_et_mm


@pytest.mark.parametrize("name", BLOCKS)
def test_a_plan_that_knows_its_day_drains_no_irrigation(name: str) -> None:
    foreseen = figures(1.5)[name][Program.FORESEEN]
    assert foreseen.irrigation_drainage_mm == pytest.approx(0.0, abs=1e-6)


def test_an_inch_a_week_is_too_little_in_the_peak_and_too_much_in_the_season() -> None:
    of = figures(1.0)["berry"]
    assert of[Program.RULE].stress_day_count > 10 + of[Program.DAILY].stress_day_count
    assert of[Program.RULE].gross_mm > of[Program.DAILY].gross_mm


def test_the_example_of_the_api_is_what_a_comparison_of_this_season_gives() -> None:
    of = figures(
        1.5, water_price=WATER_PRICE_PER_M3, nitrogen=NITROGEN_KG_PER_HA
    )["berry"]  # fmt: skip
    shown = [each for each in COMPARISON["items"] if each["program"] != Program.OWN]
    assert [each["program"] for each in shown] == list(of)
    for each in shown:
        found = asdict(of[Program(each["program"])])
        # Volume and cost are those of the depth as it is shown, to a decimal.
        assert {name: pytest.approx(found[name], abs=0.06) for name in found} | {
            "year": each["year"],
            "program": each["program"],
            "volume_m3": pytest.approx(found["volume_m3"], abs=0.25),
            "water_cost": pytest.approx(found["water_cost"], abs=0.15),
        } == each
