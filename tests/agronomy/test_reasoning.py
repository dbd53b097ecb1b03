"""The story of a plan in steps and sentences."""

from __future__ import annotations

import math
import re
import string

import pytest

from service.agronomy.pulse_plan import CAUSE_TEXT, ShortfallCause
from service.agronomy.reasoning import (
    PLAN_FLAG_TEXT,
    REASON_TEXTS,
    STEP_TEXTS,
    PlanFlag,
    describe_plan_flags,
    explain_cause,
    explain_plan,
    one_sentence,
)
from service.agronomy.step_template import put_in

WEATHER: dict[str, float | None] = {
    "tmax_c": 31.0,
    "tmin_c": 20.0,
    "ea_kpa": 2.1,
    "tdew_offset_c": 0.4,
    "tdew_offset_days_count": 28.0,
    "u2_m_s": 1.8,
    "rs_mj_m2": 24.0,
    "et0_mm": 5.5,
    "climate_term": 0.0,
    "climate_u2_m_s": 2.0,
    "climate_rhmin_pct": 45.0,
    "rain_probability_fraction": 0.6,
}
# A berry on sandy loam: 1000 x 0.10 x 0.45 x 0.33 = 14.85; p = 0.5 + 0.04 (5 - 5.06) = 0.498.
NUMBERS: dict[str, float | None] = {
    "crop_coefficient": 0.92,
    "crop_et_mm": 5.06,
    "field_capacity": 0.18,
    "wilting_point": 0.08,
    "root_depth_m": 0.45,
    "wetted_fraction": 0.33,
    "root_share_of_wetted": 1.0,
    "taw_mm": 14.85,
    "depletion_fraction": 0.498,
    "raw_mm": 7.39,
    "depletion_midnight_mm": 4.0,
    "rain_entering_mm": 1.0,
    "rain_credit_mm": 0.6,
    "depletion_start_mm": 3.4,
    "planned_depletion_mm": 8.46,
    "trigger_fraction": 0.7,
    "trigger_mm": 5.17,
    "rain_room_fraction": 0.3,
    "rain_room_mm": 2.22,
    "need_mm": 6.24,
    "emitter_flow_l_per_h": 2.0,
    "row_spacing_m": 3.0,
    "emitter_spacing_m": 0.46,
    "laterals_per_row_count": 2.0,
    "application_rate_mm_per_h": 2.899,
    "emission_uniformity_pct": 90.0,
    "wanted_min": 143.0,
    "longest_pulse_min": 85.0,
    "grower_longest_pulse_min": 240.0,
    "depth_limit_min": 85.4,
    "shortest_pulse_min": 10.0,
    "planned_min": 143.0,
    "pulse_count": 2.0,
    "daily_maximum_min": 600.0,
    "net_mm": 6.22,
    "gross_mm": 6.908,
    "area_m2": 4000.0,
    "volume_l": 27632.0,
    "deferred_mm": 0.02,
    "shortfall_mm": 0.0,
    "unrooted_loss_mm": 0.0,
    "net_rate_mm_per_min": 0.0435,
    "kc_stage": 2.0,
    "season_basis": 0.0,
    "season_progress": 80.0,
    "initial_stage_end": 20.0,
    "development_end": 60.0,
    "mid_season_end": 150.0,
    "late_season_end": 200.0,
    "kc_initial": 0.3,
    "kc_mid": 1.05,
    "kc_end": 0.5,
    "kc_off_season": 0.2,
    "table_height_m": 1.5,
    "kc_initial_adjusted": 0.3,
    "kc_mid_adjusted": 1.05,
    "kc_end_adjusted": 0.5,
    "kc_of_stage": 1.05,
    "bare_ground_kc": 0.15,
    "canopy_density_factor": 1.5,
    "canopy_cover_fraction": 0.47,
    "canopy_height_m": 1.5,
    "canopy_density_ratio": 0.705,
    "reference_canopy_ratio": 0.815,
    "canopy_ratio": 0.865,
    "mulch_cover_fraction": 0.0,
    "mulch_kc_initial": 0.3,
    "mulch_kc_reduction_fraction": 0.0,
    "table_depletion_fraction": 0.5,
    "saturated_conductivity_mm_per_h": 50.3,
    "transmission_ratio": 1.0,
    "leaching_fraction": 0.0,
    "daily_pulse_count": 12.0,
    "priority": 5.0,
    "news_fraction": 0.1,
    "news_depth_mm": 0.5,
    "flow_l_per_h": 11596.0,
    "supply_flow_l_per_h": 20000.0,
    "alone_share": 1.0,
    "urgent_share": 1.0,
    "rest_share": 1.0,
    "urgent_need_mm": 1.07,
    "watering_start_doy": 65.0,
    "watering_end_doy": 318.0,
    "dormant_days": 0.0,
    "freeze_hold_c": 0.0,
    "held_min": 0.0,
}


def test_the_steps_go_from_weather_to_water() -> None:
    names = [step.name for step in explain_plan(NUMBERS, WEATHER)]
    order = ["tmax_c", "et0_mm", "crop_et_mm", "taw_mm", "need_mm", "planned_min", "volume_l"]
    assert [name for name in names if name in order] == order


def test_every_step_of_a_full_plan_is_worked_with_its_numbers() -> None:
    for step in explain_plan(NUMBERS, WEATHER):
        assert step.value is not None, step.name
        assert "?" not in step.worked, step.worked
        assert "{" not in step.worked, step.worked
        assert step.source
        assert step.label


def test_a_step_shows_the_equation_as_a_grower_would_type_it() -> None:
    worked = {step.name: step.worked for step in explain_plan(NUMBERS, WEATHER)}
    assert worked["crop_et_mm"] == "Kc x ET0 = 0.920 x 5.50"
    assert worked["taw_mm"].endswith("1000 x (0.18000 - 0.08000) x 0.4500 x 0.3300 x 1.0000")
    assert worked["rain_credit_mm"].endswith("0.60 x 1.00")
    assert worked["gross_mm"] == "143 / 60 x 2.899"


def test_the_numbers_of_the_example_follow_from_each_other() -> None:
    # The steps above are arithmetic: what is shown must reproduce the value beside it.
    by_name = {step.name: step for step in explain_plan(NUMBERS, WEATHER)}
    assert by_name["crop_et_mm"].value == pytest.approx(0.92 * 5.5)
    assert by_name["need_mm"].value == pytest.approx(8.46 - 2.22)
    assert by_name["gross_mm"].value == pytest.approx(143 / 60 * 2.899, abs=2e-3)


def test_water_that_misses_young_roots_is_shown_with_its_arithmetic() -> None:
    # 6.22 mm net at a rooted share of 0.50: as much again falls beside the roots.
    young = NUMBERS | {"root_share_of_wetted": 0.5, "unrooted_loss_mm": 6.22}
    steps = {step.name: step for step in explain_plan(young, WEATHER)}
    assert steps["unrooted_loss_mm"].worked.startswith("6.22 / 0.5000 - 6.22; emitters")
    assert "no source" in steps["root_share_of_wetted"].source


def test_rain_stored_outside_the_strip_has_its_steps_where_a_plan_has_it() -> None:
    # (1 - 0.33) x 0.5 of the ground: 0.5 x 1000 x 0.10 x 0.45 x 0.335 = 7.54 mm at most.
    rooted = NUMBERS | {
        "alley_root_fraction": 0.5,
        "alley_share": 0.335,
        "alley_capacity_mm": 7.5375,
        "alley_start_mm": 1.2,
        "alley_rain_mm": 2.01,
        "alley_et_mm": 3.21,
        "planned_depletion_mm": 5.25,
    }
    steps = {step.name: step for step in explain_plan(rooted, WEATHER | {"rain_mm": 10.0})}
    assert all("?" not in step.worked for step in steps.values())
    assert "0.5000 x 1000 x (0.18000 - 0.08000) x 0.4500 x 0.3350" in (
        steps["alley_capacity_mm"].worked
    )
    assert "0.60 of 10.00 mm" in steps["alley_rain_mm"].worked
    assert steps["alley_et_mm"].worked.endswith("the smallest of 1.20 + 2.01, 7.54 and 5.06")
    assert steps["planned_depletion_mm"].worked == "3.40 + 5.06 - 3.21 from outside the strip"
    bare = {step.name: step for step in explain_plan(NUMBERS, WEATHER)}
    assert not any(name.startswith("alley") for name in bare)
    assert bare["planned_depletion_mm"].worked == "3.40 + 5.06"


@pytest.mark.parametrize("unknown", [None, math.nan])
def test_a_number_that_is_not_known_is_shown_as_a_question_mark(unknown: float | None) -> None:
    worked = {step.name: step.worked for step in explain_plan({**NUMBERS, "et0_mm": 1.0}, WEATHER)}
    assert "1.00" in worked["crop_et_mm"]  # the block's own numbers go before the weather's
    worked = {
        step.name: step.worked
        for step in explain_plan(NUMBERS | {"crop_coefficient": unknown}, WEATHER)
    }
    assert worked["crop_et_mm"] == "Kc x ET0 = ? x 5.50"


def test_another_language_puts_the_same_numbers_into_words_of_its_own() -> None:
    (step,) = (each for each in explain_plan(NUMBERS, WEATHER) if each.name == "volume_l")
    assert step.worked == put_in(step.template, step.values) == "6.9080 mm x 4000.0 m²"
    comma = put_in(step.template, step.values, lambda value, n: f"{value:.{n}f}".replace(".", ","))
    assert comma == "6,9080 mm x 4000,0 m²"


@pytest.mark.parametrize("text", [*REASON_TEXTS, *STEP_TEXTS, *PLAN_FLAG_TEXT.values()])
def test_no_text_of_a_plan_names_a_day_as_of_who_reads_it(text: str) -> None:
    # A plan is read on the evening before, on its day, and from the log years later.
    assert not re.search(r"\b(?:today|tomorrow|tonight|yesterday)\b", text)


def test_an_empty_plan_can_still_be_explained() -> None:
    steps = explain_plan({}, {})
    assert all(step.value is None for step in steps)


def test_every_flag_has_a_sentence_of_its_own() -> None:
    assert set(PLAN_FLAG_TEXT) == set(PlanFlag)
    assert len(set(PLAN_FLAG_TEXT.values())) == len(PlanFlag)
    for text in PLAN_FLAG_TEXT.values():
        assert text[0] in string.ascii_uppercase
        assert text.endswith(".")


def test_flags_are_explained_in_their_order() -> None:
    flags = PlanFlag.AFTERNOON_STRESS | PlanFlag.RUNS_ASSUMED
    assert describe_plan_flags(int(flags)) == (
        PLAN_FLAG_TEXT[PlanFlag.RUNS_ASSUMED],
        PLAN_FLAG_TEXT[PlanFlag.AFTERNOON_STRESS],
    )


def test_every_cause_except_none_is_explained() -> None:
    assert explain_cause(ShortfallCause.NONE) == ""
    for cause in ShortfallCause:
        if cause is not ShortfallCause.NONE:
            assert explain_cause(int(cause)) == CAUSE_TEXT[cause]


def test_a_program_that_runs_before_water_is_needed_is_not_called_needed() -> None:
    below = NUMBERS | {"planned_depletion_mm": 4.0}
    text = one_sentence(below, [(240, 72)])
    assert text.startswith("Runs as set, although it could wait:")
    assert "under the" in text
    at_it = NUMBERS | {"planned_depletion_mm": NUMBERS["trigger_mm"]}
    assert "at or beyond" in one_sentence(at_it, [(240, 72)])


def test_a_watered_day_is_summed_up_in_one_sentence() -> None:
    text = one_sentence(NUMBERS, [(240, 72), (480, 71)])
    assert text == (
        "The crop will use 5.1 mm; depletion would reach 8.5 mm, at or beyond the 5.2 mm that call"
        " for water."
    )


def test_a_day_of_rest_says_that_the_soil_still_holds_enough() -> None:
    text = one_sentence(NUMBERS | {"planned_depletion_mm": 4.0}, [])
    assert text.startswith("No water: depletion would reach 4.0 mm")
    assert "under the 5.2 mm" in text


@pytest.mark.parametrize("cause", [ShortfallCause.OUTAGE, ShortfallCause.SUPPLY])
def test_a_dry_day_despite_a_need_says_what_held_the_water_back(cause: ShortfallCause) -> None:
    text = one_sentence(NUMBERS | {"cause": int(cause)}, [])
    assert text.startswith("No water, although depletion would reach 8.5 mm")
    assert CAUSE_TEXT[cause] in text


def test_an_unknown_day_does_not_pretend_that_nothing_is_needed() -> None:
    for unknown in (None, math.nan):
        text = one_sentence(NUMBERS | {"planned_depletion_mm": unknown}, [])
        assert "not known" in text
