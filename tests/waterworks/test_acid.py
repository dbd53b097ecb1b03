"""Acid doses: what raises and lowers them, what beats the model, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.acid import (
    ACIDS,
    AcidDose,
    TitrationPoint,
    acid_density_kg_per_l,
    acid_dose,
    acid_normality_eq_per_l,
    titrated_dose_meq_per_l,
    titration_points,
)
from service.waterworks.carbonate import CarbonateWater
from service.waterworks.caution import ACID_CAUTIONS
from tests.waterworks.closed_pipe import acidified_ph

TAP = CarbonateWater(ph=7.8, alkalinity_meq_per_l=2.398, temperature_c=20.0)
TITRATION = titration_points(
    [0.0, 2.0, 5.0, 8.5, 10.5, 12.2],
    [7.8, 7.1, 6.5, 6.0, 5.5, 4.5],
    acid_normality_eq_per_l=0.02,
    sample_ml=100.0,
)
"""Invented bench sheet of a water like TAP."""


def dose_of(target: float, acid_key: str = "sulfuric", water: CarbonateWater = TAP) -> AcidDose:
    strengths = {"sulfuric": 93.0, "phosphoric": 75.0, "nitric": 67.0, "hydrochloric": 32.0}
    return acid_dose(water, target, acid_key=acid_key, strength_pct=strengths.get(acid_key, 50.0))


@settings(max_examples=30)
@given(
    alkalinity=st.floats(0.2, 8.0),
    ph=st.floats(6.8, 8.8),
    temperature=st.floats(2.0, 35.0),
    shares=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
    acid_key=st.sampled_from(sorted(ACIDS)),
)
def test_a_lower_target_never_takes_less_acid(
    alkalinity: float,
    ph: float,
    temperature: float,
    shares: tuple[float, float],
    acid_key: str,
) -> None:
    water = CarbonateWater(ph=ph, alkalinity_meq_per_l=alkalinity, temperature_c=temperature)
    low, high = sorted(4.5 + share * (ph - 4.5) for share in shares)
    more = dose_of(low, acid_key, water).dose_mmol_per_l
    assert more >= dose_of(high, acid_key, water).dose_mmol_per_l - 1e-9


@settings(max_examples=30)
@given(
    alkalinity=st.floats(0.3, 8.0),
    more=st.floats(1.05, 3.0),
    target=st.floats(4.5, 7.0),
)
def test_more_alkalinity_takes_more_acid(alkalinity: float, more: float, target: float) -> None:
    little = replace(TAP, alkalinity_meq_per_l=alkalinity)
    much = replace(TAP, alkalinity_meq_per_l=alkalinity * more)
    assert (
        dose_of(target, water=much).dose_mmol_per_l > dose_of(target, water=little).dose_mmol_per_l
    )


@settings(max_examples=30)
@given(
    alkalinity=st.floats(0.3, 8.0),
    ph=st.floats(6.8, 8.6),
    share=st.floats(0.05, 0.95),
    acid_key=st.sampled_from(sorted(ACIDS)),
)
def test_the_dose_brings_the_water_to_its_target(
    alkalinity: float, ph: float, share: float, acid_key: str
) -> None:
    water = CarbonateWater(ph=ph, alkalinity_meq_per_l=alkalinity, temperature_c=20.0)
    target = 4.5 + share * (ph - 4.5)
    dose = dose_of(target, acid_key, water)
    assert acidified_ph(water, acid_key, dose.dose_mmol_per_l) == pytest.approx(target, abs=1e-4)


@given(target=st.floats(4.2, 7.7), acid_key=st.sampled_from(["sulfuric", "nitric", "hydrochloric"]))
def test_every_proton_of_a_strong_acid_is_found_in_the_alkalinity_that_is_gone(
    target: float, acid_key: str
) -> None:
    dose = dose_of(target, acid_key)
    strong = ACIDS[acid_key].strong_proton_count
    assert dose.dose_meq_per_l == pytest.approx(strong * dose.dose_mmol_per_l)
    assert dose.alkalinity_left_meq_per_l + dose.dose_meq_per_l == pytest.approx(2.398, rel=1e-6)


def test_strong_acids_take_the_same_equivalents() -> None:
    doses = [dose_of(6.0, key).dose_meq_per_l for key in ("sulfuric", "nitric", "hydrochloric")]
    assert doses == pytest.approx([doses[0]] * 3, rel=0.01)


def test_phosphoric_acid_counts_little_more_than_once_near_the_end_point() -> None:
    assert dose_of(7.2, "phosphoric").protons_per_mol > 1.4
    assert dose_of(5.0, "phosphoric").protons_per_mol == pytest.approx(1.0, abs=0.02)


def test_the_waters_own_ph_takes_no_acid() -> None:
    dose = dose_of(7.8)
    assert dose.dose_mmol_per_l == pytest.approx(0.0, abs=1e-9)
    assert dose.acid_ml_per_m3 == pytest.approx(0.0, abs=1e-6)


def test_volume_weight_and_rates_are_of_one_dose() -> None:
    dose = acid_dose(TAP, 6.5, acid_key="sulfuric", strength_pct=93.0, flow_l_per_h=20_000.0)
    assert dose.acid_ml_per_m3 is not None
    assert dose.injector_l_per_h is not None and dose.injector_ml_per_min is not None
    assert dose.acid_g_per_m3 == pytest.approx(dose.dose_mmol_per_l * 98.079 / 0.93)
    assert dose.acid_ml_per_m3 * 1.8279 == pytest.approx(dose.acid_g_per_m3)
    assert dose.injector_ml_per_min * 60.0 == pytest.approx(20.0 * dose.acid_ml_per_m3)
    assert dose.injector_l_per_h * 1000.0 / 60.0 == pytest.approx(dose.injector_ml_per_min)


def test_without_a_flow_there_is_no_injector_rate() -> None:
    assert dose_of(6.5).injector_l_per_h is None
    assert dose_of(6.5).injector_ml_per_min is None


def test_crystals_of_citric_acid_are_weighed_not_measured() -> None:
    dose = acid_dose(TAP, 6.5, acid_key="citric", strength_pct=100.0, flow_l_per_h=20_000.0)
    assert dose.acid_g_per_m3 == pytest.approx(dose.dose_mmol_per_l * 192.124)
    assert dose.acid_ml_per_m3 is None and dose.injector_l_per_h is None


def test_acids_that_feed_say_how_much() -> None:
    nitric = dose_of(6.0, "nitric")
    assert nitric.nutrient == "nitrogen"
    assert nitric.nutrient_g_per_m3 == pytest.approx(14.007 * nitric.dose_mmol_per_l)
    assert "feeds-nutrient" in [each.key for each in nitric.advisories]
    assert dose_of(6.0, "phosphoric").nutrient == "phosphorus"
    assert dose_of(6.0, "citric").nutrient is None


def test_a_titration_beats_the_model() -> None:
    titrated = acid_dose(TAP, 6.25, acid_key="sulfuric", strength_pct=93.0, titration=TITRATION)
    assert titrated.basis == "titration"
    # Half way between 5.0 mL and 8.5 mL of 0.02 N in 100 mL: 1.35 meq/L.
    assert titrated.dose_meq_per_l == pytest.approx(1.35)
    assert titrated.dose_mmol_per_l == pytest.approx(0.675)
    assert titrated.model_dose_mmol_per_l == pytest.approx(dose_of(6.25).dose_mmol_per_l)
    assert dose_of(6.25).basis == "model"


def test_a_titration_far_from_the_analysis_is_said_to_be() -> None:
    hard = [TitrationPoint(0.0, 7.8), TitrationPoint(2.0, 6.5), TitrationPoint(4.0, 4.5)]
    dose = acid_dose(TAP, 6.5, acid_key="sulfuric", strength_pct=93.0, titration=hard)
    assert dose.dose_meq_per_l == pytest.approx(2.0)
    assert "titration-differs" in [each.key for each in dose.advisories]
    near = acid_dose(TAP, 6.5, acid_key="sulfuric", strength_pct=93.0, titration=TITRATION)
    assert "titration-differs" not in [each.key for each in near.advisories]


@pytest.mark.parametrize(
    ("points", "fault"),
    [
        ([TitrationPoint(0.0, 7.8)], "two points"),
        ([TitrationPoint(0.0, 7.8), TitrationPoint(1.0, 6.9)], "down to the target"),
        (
            [TitrationPoint(0.0, 7.8), TitrationPoint(1.0, 6.4), TitrationPoint(2.0, 6.6)],
            "a pH below 6.4",
        ),
        ([TitrationPoint(0.0, 7.0), TitrationPoint(2.0, 5.0)], "within 0.3"),
        ([TitrationPoint(-1.0, 7.8), TitrationPoint(2.0, 5.0)], "0 meq/L or more"),
        ([TitrationPoint(0.0, 7.8), TitrationPoint(2.0, 15.0)], "between 0 and 14"),
    ],
)
def test_a_titration_that_cannot_be_read_is_refused(
    points: list[TitrationPoint], fault: str
) -> None:
    with pytest.raises(InputInvalid, match=fault):
        acid_dose(TAP, 6.5, acid_key="sulfuric", strength_pct=93.0, titration=points)


def test_a_titration_may_leave_out_the_point_without_acid() -> None:
    found = titrated_dose_meq_per_l([TitrationPoint(1.0, 6.5), TitrationPoint(2.0, 5.5)], 6.0, 7.8)
    assert found == pytest.approx(1.5)


def test_a_bench_sheet_of_unequal_columns_is_refused() -> None:
    with pytest.raises(InputInvalid) as refusal:
        titration_points([0.0, 1.0], [7.8], acid_normality_eq_per_l=0.0, sample_ml=0.0)
    assert len(refusal.value.faults) == 3


@pytest.mark.parametrize("target", [7.9, 9.0, 14.0])
def test_a_target_above_the_waters_ph_is_refused(target: float) -> None:
    with pytest.raises(InputInvalid, match=r"target_ph.*7\.8.*cannot raise"):
        dose_of(target)


@pytest.mark.parametrize("target", [3.9, 0.0, float("nan")])
def test_a_target_that_nothing_buffers_is_refused(target: float) -> None:
    with pytest.raises(InputInvalid, match="target_ph"):
        dose_of(target)


@pytest.mark.parametrize("alkalinity", [0.0, -1.0, float("nan")])
def test_without_alkalinity_there_is_no_dose(alkalinity: float) -> None:
    with pytest.raises(InputInvalid, match="alkalinity_meq_per_l"):
        dose_of(6.5, water=replace(TAP, alkalinity_meq_per_l=alkalinity))


@pytest.mark.parametrize("acid_key", sorted(ACIDS))
def test_acid_and_chlorine_together_are_refused(acid_key: str) -> None:
    with pytest.raises(InputInvalid, match="chlorine gas"):
        acid_dose(TAP, 6.5, acid_key=acid_key, strength_pct=30.0, is_chlorine_injected=True)


def test_an_unknown_acid_is_refused_with_the_list() -> None:
    with pytest.raises(InputInvalid) as refusal:
        dose_of(6.5, "vinegar")
    assert all(key in refusal.value.faults[0].allowed for key in ACIDS)


def test_a_strength_beyond_the_table_asks_for_the_density() -> None:
    with pytest.raises(InputInvalid, match="density on the product's label"):
        acid_dose(TAP, 6.5, acid_key="nitric", strength_pct=90.0)
    dose = acid_dose(TAP, 6.5, acid_key="nitric", strength_pct=90.0, density_kg_per_l=1.48)
    assert dose.acid_ml_per_m3 == pytest.approx(dose.acid_g_per_m3 / 1.48)


def test_a_strength_given_as_a_fraction_is_refused_by_name() -> None:
    with pytest.raises(InputInvalid, match=r"strength_pct.*93 % is 93"):
        acid_dose(TAP, 6.5, acid_key="sulfuric", strength_pct=0.93)


def test_every_fault_of_a_request_is_listed() -> None:
    with pytest.raises(InputInvalid) as refusal:
        acid_dose(
            TAP,
            8.5,
            acid_key="sulfuric",
            strength_pct=0.5,
            density_kg_per_l=18.0,
            flow_l_per_h=0.0,
        )
    assert [fault.where for fault in refusal.value.faults] == [
        "target_ph",
        "strength_pct",
        "density_kg_per_l",
        "flow_l_per_h",
    ]


@pytest.mark.parametrize("acid_key", sorted(ACIDS))
def test_every_dose_carries_all_cautions(acid_key: str) -> None:
    dose = dose_of(6.5, acid_key)
    assert dose.cautions == ACID_CAUTIONS
    cautions = " ".join(each.text for each in dose.cautions)
    for words in (
        "acid to water, never water to acid",
        "Never mix acid with chlorine",
        "licensed",
        "Local code",
        "backflow prevention",
        "interlock",
        "estimate",
        "never an instruction to open",
    ):
        assert words in cautions


def test_a_low_line_ph_and_what_is_not_known_are_said() -> None:
    assert {each.key for each in dose_of(4.5).advisories} == {
        "low-line-ph",
        "calcium-assumed",
        "salt-unknown",
    }
    known = replace(TAP, calcium_meq_per_l=2.398, ec_ds_m=0.25)
    assert dose_of(6.5, water=known).advisories == ()


def test_salt_lowers_the_dose_and_conductivity_tells_it_nearly_as_well_as_the_ions() -> None:
    bare = dose_of(6.5).dose_mmol_per_l
    ions = replace(TAP, calcium_meq_per_l=2.398, sodium_meq_per_l=10.0, chloride_meq_per_l=10.0)
    by_ions = dose_of(6.5, water=ions).dose_mmol_per_l
    # I = 0.0136 mol/L, 0.0127 per dS/m.
    by_ec = dose_of(6.5, water=replace(TAP, ec_ds_m=1.07)).dose_mmol_per_l
    assert by_ions < 0.97 * bare
    assert by_ec == pytest.approx(by_ions, rel=0.02)


def test_phosphoric_acid_in_hard_water_is_warned_of() -> None:
    hard = replace(TAP, calcium_meq_per_l=4.0)
    assert "calcium-phosphate" in [e.key for e in dose_of(6.5, "phosphoric", hard).advisories]
    soft = replace(TAP, calcium_meq_per_l=0.5, sodium_meq_per_l=1.898)
    assert "calcium-phosphate" not in [e.key for e in dose_of(6.5, "phosphoric", soft).advisories]


@given(target=st.floats(4.6, 7.7))
def test_in_open_air_the_ph_rises_again(target: float) -> None:
    assert dose_of(target).open_air_ph > target


def test_acid_takes_a_water_away_from_scale() -> None:
    dose = dose_of(6.5)
    assert dose.calcite_saturation_before is not None
    assert dose.calcite_saturation_after is not None
    assert dose.calcite_saturation_after < dose.calcite_saturation_before - 1.0


@pytest.mark.parametrize("acid_key", sorted(ACIDS))
def test_a_stronger_acid_is_denser_and_takes_less_volume(acid_key: str) -> None:
    low, high = ACIDS[acid_key].density_table[1][0], ACIDS[acid_key].density_table[-1][0]
    thin, thick = acid_density_kg_per_l(acid_key, low), acid_density_kg_per_l(acid_key, high)
    assert thin is not None and thick is not None and thin < thick
    assert acid_normality_eq_per_l(acid_key, low) < acid_normality_eq_per_l(acid_key, high)


def test_crystals_have_no_normality() -> None:
    with pytest.raises(InputInvalid, match="solution"):
        acid_normality_eq_per_l("citric", 100.0)
