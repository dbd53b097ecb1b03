"""Classes, saturation, leaching and yield: where the limits lie and what is left unsaid."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.water_analysis import WaterAnalysis
from service.waterworks.water_report import (
    Grade,
    WaterClass,
    calcite_saturation,
    clogging_classes,
    drip_leaching_requirement_fraction,
    expected_soil_salinity_ds_m,
    langelier_saturation_ph,
    leaching_requirement_fraction,
    relative_yield_pct,
    restriction_classes,
    salinity_outlook,
    sodium_adsorption_ratio,
    water_report,
    zero_yield_salinity_ds_m,
)

HARD = WaterAnalysis(
    ph=8.0,
    ec_ds_m=0.8,
    alkalinity_meq_per_l=4.5,
    calcium_meq_per_l=5.0,
    magnesium_meq_per_l=2.0,
    sodium_meq_per_l=1.0,
    dissolved_solids_mg_per_l=512.0,
)
"""Invented."""


def class_of(classes: tuple[WaterClass, ...], name: str) -> WaterClass:
    return next(each for each in classes if each.name == name)


# FAO-29 rev. 1 (Ayers & Westcot 1985), Table 1.
@pytest.mark.parametrize(
    ("name", "fine", "middle", "bad"),
    [
        ("ec_ds_m", 0.69, 0.71, 3.1),
        ("dissolved_solids_mg_per_l", 449.0, 451.0, 2001.0),
        ("chloride_meq_per_l", 3.9, 4.1, 10.1),
        ("boron_mg_per_l", 0.69, 0.71, 3.1),
        ("nitrate_nitrogen_mg_per_l", 4.9, 5.1, 31.0),
        ("bicarbonate_meq_per_l", 1.4, 1.6, 8.6),
    ],
)
def test_restrictions_begin_and_end_where_fao_29_says(
    name: str, fine: float, middle: float, bad: float
) -> None:
    words = []
    for value in (fine, middle, bad):
        analysis = WaterAnalysis(**{name: value})  # type: ignore[arg-type]  # numbers only
        found = class_of(restriction_classes(analysis), name)
        words.append(found.word)
        assert "FAO-29" in found.source
        assert found.advice
    assert words == ["none", "slight to moderate", "severe"]


# FAO-29 rev. 1, Table 1: SAR 0-3, 3-6, 6-12, 12-20, 20-40 with the EC of each limit.
@pytest.mark.parametrize(
    ("ratio", "fine", "bad"),
    [(2.0, 0.7, 0.2), (5.0, 1.2, 0.3), (9.0, 1.9, 0.5), (15.0, 2.9, 1.3), (30.0, 5.0, 2.9)],
)
def test_infiltration_is_read_from_sar_and_conductivity_together(
    ratio: float, fine: float, bad: float
) -> None:
    def grade(ec: float) -> Grade:
        analysis = WaterAnalysis(
            ec_ds_m=ec, sodium_meq_per_l=ratio, calcium_meq_per_l=1.0, magnesium_meq_per_l=1.0
        )
        return class_of(restriction_classes(analysis), "infiltration_ec_ds_m").grade

    assert grade(fine + 0.01) == Grade.NONE
    assert grade((fine + bad) / 2.0) == Grade.MODERATE
    assert grade(bad - 0.01) == Grade.SEVERE


# Bucks, Nakayama & Gilbert 1979, Agric. Water Manage. 2:149-162; limits from memory.
@pytest.mark.parametrize(
    ("name", "minor", "moderate", "severe"),
    [
        ("suspended_solids_mg_per_l", 49.0, 75.0, 101.0),
        ("ph", 6.9, 7.5, 8.1),
        ("dissolved_solids_mg_per_l", 499.0, 1000.0, 2001.0),
        ("manganese_mg_per_l", 0.09, 0.5, 1.6),
        ("iron_mg_per_l", 0.09, 0.5, 1.6),
        ("hydrogen_sulfide_mg_per_l", 0.4, 1.0, 2.1),
        ("bacteria_per_ml", 9_999.0, 20_000.0, 50_001.0),
        ("hardness_mg_per_l", 149.0, 200.0, 301.0),
    ],
)
def test_clogging_hazards_begin_and_end_where_bucks_and_others_say(
    name: str, minor: float, moderate: float, severe: float
) -> None:
    words = []
    for value in (minor, moderate, severe):
        analysis = WaterAnalysis(**{name: value})  # type: ignore[arg-type]  # numbers only
        found = class_of(clogging_classes(analysis), name)
        words.append(found.word)
        assert "Bucks" in found.source
        assert found.advice
    assert words == ["minor", "moderate", "severe"]


def test_chlorine_advice_never_stands_without_its_warning() -> None:
    bad = class_of(clogging_classes(WaterAnalysis(bacteria_per_ml=1e5)), "bacteria_per_ml")
    assert "never together with acid" in bad.advice


def test_what_is_not_known_has_no_class() -> None:
    assert restriction_classes(WaterAnalysis()) == ()
    assert clogging_classes(WaterAnalysis()) == ()


def test_water_without_calcium_and_magnesium_has_no_finite_sar() -> None:
    assert math.isinf(sodium_adsorption_ratio(1.0, 0.0, 0.0))
    assert sodium_adsorption_ratio(0.0, 0.0, 0.0) == 0.0


@given(sodium=st.floats(0.01, 30.0), calcium=st.floats(0.1, 20.0), magnesium=st.floats(0.1, 20.0))
def test_diluting_a_water_fourfold_halves_its_sar(
    sodium: float, calcium: float, magnesium: float
) -> None:
    whole = sodium_adsorption_ratio(4.0 * sodium, 4.0 * calcium, 4.0 * magnesium)
    assert sodium_adsorption_ratio(sodium, calcium, magnesium) == pytest.approx(whole / 2.0)


def test_saturation_says_scale_for_a_hard_water_and_attack_for_a_soft_one() -> None:
    hard = calcite_saturation(HARD, 25.0)
    assert hard.word == "scales" and hard.calcite_index > 0.5
    assert hard.langelier_index is not None and hard.langelier_index > 0.3
    soft = WaterAnalysis(ph=6.5, alkalinity_meq_per_l=0.5, calcium_meq_per_l=0.4)
    found = calcite_saturation(soft, 15.0)
    assert found.word == "dissolves"
    assert found.langelier_index is None


@given(
    alkalinity=st.floats(1.0, 6.0),
    calcium=st.floats(1.0, 6.0),
    ph=st.floats(6.5, 8.3),
    temperature=st.floats(10.0, 30.0),
)
def test_the_two_indices_agree_within_a_third(
    alkalinity: float, calcium: float, ph: float, temperature: float
) -> None:
    solids = 60.0 * max(alkalinity, calcium)
    analysis = WaterAnalysis(
        ph=ph,
        alkalinity_meq_per_l=alkalinity,
        calcium_meq_per_l=calcium,
        dissolved_solids_mg_per_l=solids,
    )
    found = calcite_saturation(analysis, temperature)
    assert found.langelier_index == pytest.approx(found.calcite_index, abs=0.35)


def test_saturation_without_calcium_is_refused() -> None:
    with pytest.raises(InputInvalid, match="calcium_meq_per_l"):
        calcite_saturation(WaterAnalysis(ph=8.0, alkalinity_meq_per_l=2.0), 20.0)


def test_langelier_without_solids_is_refused() -> None:
    with pytest.raises(InputInvalid, match="above 0 mg/L"):
        langelier_saturation_ph(0.0, 100.0, 100.0, temperature_c=20.0)


@given(water=st.floats(0.05, 3.0), threshold=st.floats(0.8, 4.0), slope=st.floats(3.0, 33.0))
def test_leaching_the_requirement_keeps_the_soil_at_the_threshold(
    water: float, threshold: float, slope: float
) -> None:
    # FAO-29: LR = ECw / (5 ECe - ECw) is where (1 + LF) / (5 LF) ECw meets the threshold.
    fraction = leaching_requirement_fraction(water, threshold)
    if fraction is None:
        assert water >= 2.5 * threshold - 1e-9
        return
    assert expected_soil_salinity_ds_m(water, fraction) == pytest.approx(threshold)
    drip = drip_leaching_requirement_fraction(water, zero_yield_salinity_ds_m(threshold, slope))
    assert drip is not None and 0.0 < drip < 1.0


def test_a_water_too_saline_for_a_crop_has_no_leaching_requirement() -> None:
    assert leaching_requirement_fraction(5.0, 1.5) is None
    assert drip_leaching_requirement_fraction(12.0, 6.0) is None
    assert "No leaching" in salinity_outlook(5.0, 1.5, 22.0).advice


@given(low=st.floats(0.0, 15.0), more=st.floats(0.0, 5.0), threshold=st.floats(0.5, 5.0))
def test_more_salt_never_raises_the_yield(low: float, more: float, threshold: float) -> None:
    fine = relative_yield_pct(low, threshold, 15.0)
    worse = relative_yield_pct(low + more, threshold, 15.0)
    assert 0.0 <= worse <= fine <= 100.0


def test_nothing_is_lost_below_the_threshold_and_all_at_the_zero_yield_salinity() -> None:
    assert relative_yield_pct(1.5, 1.5, 22.0) == 100.0
    assert relative_yield_pct(zero_yield_salinity_ds_m(1.5, 22.0), 1.5, 22.0) == pytest.approx(
        0.0, abs=1e-9
    )


def test_salinity_numbers_that_cannot_be_are_refused_together() -> None:
    with pytest.raises(InputInvalid) as refusal:
        relative_yield_pct(1.0, 0.0, 0.0)
    assert len(refusal.value.faults) == 2
    with pytest.raises(InputInvalid, match="water_ec_ds_m"):
        leaching_requirement_fraction(-1.0, 1.5)
    with pytest.raises(InputInvalid, match="leaching_fraction"):
        expected_soil_salinity_ds_m(1.0, 0.0)


def test_a_report_of_a_full_analysis_says_everything() -> None:
    report = water_report(HARD, 20.0, salinity_threshold_ds_m=1.5, salinity_slope_pct_per_ds_m=22.0)
    assert report.sodium_adsorption_ratio == pytest.approx(1.0 / math.sqrt(3.5))
    assert report.saturation is not None and report.salinity is not None
    assert report.salinity.leaching_requirement_fraction == pytest.approx(0.8 / 6.7)
    assert report.advisories == ()


def test_a_crop_without_published_numbers_gets_no_invented_ones() -> None:
    report = water_report(HARD, 20.0)
    assert report.salinity is None
    assert [each.key for each in report.advisories] == ["salinity-numbers-missing"]


def test_a_bare_analysis_gives_a_bare_report() -> None:
    report = water_report(WaterAnalysis(ph=7.0), 20.0)
    assert report.saturation is None and report.salinity is None
    assert report.sodium_adsorption_ratio is None
    assert [each.name for each in report.restrictions] == ["ph"]
