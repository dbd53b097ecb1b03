"""The carbonate system: constants, activities, and that alkalinity, carbonate and pH agree."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.carbonate import (
    CarbonateWater,
    carbonate_constants,
    carbonate_fractions,
    component_totals,
    log_activity_coefficient,
    open_air_ph,
    speciate,
    total_carbonate_mmol_per_l,
    water_speciation,
)
from tests.waterworks.closed_pipe import alkalinity_meq_per_l, closed_ph

TEMPERATURES = st.floats(0.0, 50.0)
STRENGTHS = st.floats(0.0, 0.1)


@given(ph=st.floats(3.0, 10.5), temperature=TEMPERATURES, strength=STRENGTHS)
def test_the_three_shares_of_carbonate_make_the_whole(
    ph: float, temperature: float, strength: float
) -> None:
    assert sum(carbonate_fractions(ph, temperature, strength)) == pytest.approx(1.0, abs=1e-12)


@given(
    alkalinity=st.floats(0.05, 20.0),
    ph=st.floats(4.5, 9.5),
    temperature=TEMPERATURES,
    strength=STRENGTHS,
)
def test_alkalinity_carbonate_and_ph_lead_back_to_one_another(
    alkalinity: float, ph: float, temperature: float, strength: float
) -> None:
    total = total_carbonate_mmol_per_l(
        alkalinity, ph, temperature, ionic_strength_mol_per_l=strength
    )
    if total <= 0.0:
        return
    again = alkalinity_meq_per_l(total, ph, temperature, ionic_strength_mol_per_l=strength)
    assert again == pytest.approx(alkalinity, rel=1e-9)
    found = closed_ph(alkalinity, total, temperature, ionic_strength_mol_per_l=strength)
    assert found == pytest.approx(ph, abs=1e-6)


def test_a_stronger_solution_lowers_the_activity_of_ions_and_more_so_of_double_charges() -> None:
    single = [log_activity_coefficient(1, strength) for strength in (0.001, 0.01, 0.05)]
    assert single == sorted(single, reverse=True)
    assert log_activity_coefficient(2, 0.01) == pytest.approx(4.0 * single[1])
    assert log_activity_coefficient(-2, 0.01) == log_activity_coefficient(2, 0.01)
    assert log_activity_coefficient(0, 0.01) > 0.0


def test_at_no_ionic_strength_an_ion_is_fully_active() -> None:
    assert log_activity_coefficient(2, 0.0) == 0.0


@pytest.mark.parametrize("temperature", [-1.0, 51.0, math.nan])
def test_a_temperature_that_no_pipe_has_is_refused(temperature: float) -> None:
    with pytest.raises(InputInvalid, match="temperature_c"):
        carbonate_constants(temperature)


@given(
    alkalinity=st.floats(0.2, 10.0),
    ph=st.floats(6.0, 8.8),
    temperature=TEMPERATURES,
    magnesium=st.floats(0.0, 5.0),
    salt=st.floats(0.0, 50.0),
)
def test_a_speciated_water_has_the_alkalinity_it_came_with_and_keeps_its_mass(
    alkalinity: float, ph: float, temperature: float, magnesium: float, salt: float
) -> None:
    water = CarbonateWater(
        ph=ph,
        alkalinity_meq_per_l=alkalinity,
        temperature_c=temperature,
        calcium_meq_per_l=alkalinity,
        magnesium_meq_per_l=magnesium,
        sodium_meq_per_l=salt,
        sulfate_meq_per_l=magnesium,
        chloride_meq_per_l=salt,
    )
    found = water_speciation(water)
    assert found.proton_deficit_meq_per_l == pytest.approx(alkalinity, rel=1e-7)
    amounts = found.species_mol_per_l
    calcium = sum(amount for name, amount in amounts.items() if name.startswith("calcium"))
    assert calcium == pytest.approx(alkalinity * 0.5e-3, rel=1e-7)
    carbonate = sum(
        amount for name, amount in amounts.items() if name == "co2" or "carbonate" in name
    )
    assert carbonate == pytest.approx(found.total_carbonate_mmol_per_l * 1e-3, rel=1e-7)


@given(alkalinity=st.floats(0.2, 10.0), ph=st.floats(6.0, 8.8))
def test_the_charges_of_a_speciated_water_balance(alkalinity: float, ph: float) -> None:
    # Calcium bicarbonate water: what was left of the charges is the filler, here none.
    water = CarbonateWater(
        ph=ph, alkalinity_meq_per_l=alkalinity, temperature_c=20.0, calcium_meq_per_l=alkalinity
    )
    amounts = water_speciation(water).species_mol_per_l
    charge = (
        2.0 * amounts["calcium"]
        + amounts["calcium_hydroxide"]
        + amounts["calcium_bicarbonate"]
        + amounts["hydrogen"]
        - amounts["hydroxide"]
        - amounts["bicarbonate"]
        - 2.0 * amounts["carbonate"]
    )
    assert charge == pytest.approx(0.0, abs=1e-9)


def test_calcium_that_is_not_known_is_taken_as_what_balances_the_charges() -> None:
    bare = CarbonateWater(ph=7.5, alkalinity_meq_per_l=3.0, temperature_c=20.0)
    assert component_totals(bare)["calcium"] == pytest.approx(1.5e-3)
    salty = CarbonateWater(
        ph=7.5,
        alkalinity_meq_per_l=3.0,
        temperature_c=20.0,
        sodium_meq_per_l=4.0,
        chloride_meq_per_l=2.0,
    )
    assert component_totals(salty)["calcium"] == pytest.approx(0.5e-3)


def test_conductivity_stands_in_for_ions_that_are_not_known() -> None:
    plain = CarbonateWater(ph=7.5, alkalinity_meq_per_l=2.0, temperature_c=20.0)
    salty = CarbonateWater(ph=7.5, alkalinity_meq_per_l=2.0, temperature_c=20.0, ec_ds_m=2.0)
    # Griffin & Jurinak 1973, from memory: I = 0.0127 EC.
    assert water_speciation(salty).ionic_strength_mol_per_l == pytest.approx(0.0254, rel=0.02)
    assert water_speciation(plain).ionic_strength_mol_per_l < 0.004


def test_a_warmer_and_a_less_sour_water_is_nearer_to_leaving_scale() -> None:
    def index(ph: float, temperature: float) -> float:
        water = CarbonateWater(ph=ph, alkalinity_meq_per_l=3.0, temperature_c=temperature)
        found = water_speciation(water).calcite_saturation_index
        assert found is not None
        return found

    assert index(7.5, 10.0) < index(7.5, 20.0) < index(7.5, 35.0)
    assert index(7.0, 20.0) < index(7.5, 20.0) < index(8.0, 20.0)


def test_a_water_without_calcium_has_no_saturation_with_calcite() -> None:
    soft = CarbonateWater(
        ph=8.0,
        alkalinity_meq_per_l=3.0,
        temperature_c=20.0,
        calcium_meq_per_l=0.0,
        sodium_meq_per_l=3.0,
    )
    assert water_speciation(soft).calcite_saturation_index is None


@given(left=st.floats(-0.5, 8.0), temperature=st.floats(2.0, 40.0))
def test_in_open_air_the_proton_deficit_and_the_co2_are_both_met(
    left: float, temperature: float
) -> None:
    water = CarbonateWater(ph=7.5, alkalinity_meq_per_l=8.0, temperature_c=temperature)
    totals = component_totals(water)
    ph = open_air_ph(left, totals, temperature)
    constants = carbonate_constants(temperature)
    co2 = 10 ** (constants.log_henry - 3.38)
    a0, _, _ = carbonate_fractions(ph, temperature)
    trial = dict(totals)
    trial["carbonate"] = co2 / a0
    for _ in range(30):
        found = speciate(ph, trial, temperature)
        trial["carbonate"] *= co2 / (
            found.species_mol_per_l["co2"] * 10 ** (0.1 * found.ionic_strength_mol_per_l)
        )
    assert found.proton_deficit_meq_per_l == pytest.approx(left, rel=1e-4, abs=1e-5)


def test_more_co2_in_the_air_keeps_a_water_sourer() -> None:
    totals = component_totals(CarbonateWater(ph=7.5, alkalinity_meq_per_l=2.0, temperature_c=20.0))
    cellar = open_air_ph(2.0, totals, 20.0, log_pco2=-2.0)
    field = open_air_ph(2.0, totals, 20.0)
    assert cellar < field - 1.0


def test_alkalinity_given_in_milligrams_is_refused_by_name() -> None:
    water = CarbonateWater(ph=7.8, alkalinity_meq_per_l=120.0, temperature_c=20.0)
    with pytest.raises(InputInvalid, match=r"alkalinity_meq_per_l.*50\.04 mg/L"):
        water_speciation(water)


def test_every_fault_of_a_water_is_listed() -> None:
    water = CarbonateWater(
        ph=13.0,
        alkalinity_meq_per_l=0.0,
        temperature_c=70.0,
        calcium_meq_per_l=-1.0,
        ec_ds_m=800.0,
    )
    with pytest.raises(InputInvalid) as refusal:
        water_speciation(water)
    assert [fault.where for fault in refusal.value.faults] == [
        "temperature_c",
        "ph",
        "alkalinity_meq_per_l",
        "calcium_meq_per_l",
        "ec_ds_m",
    ]


def test_alkalinity_that_is_all_hydroxide_is_refused() -> None:
    water = CarbonateWater(ph=11.0, alkalinity_meq_per_l=0.1, temperature_c=25.0)
    with pytest.raises(InputInvalid, match="hydroxide"):
        water_speciation(water)


def test_much_alkalinity_in_a_sour_water_is_refused() -> None:
    water = CarbonateWater(ph=4.0, alkalinity_meq_per_l=5.0, temperature_c=20.0)
    with pytest.raises(InputInvalid, match="do not belong to one water"):
        water_speciation(water)


def test_a_brine_is_computed_at_the_limit_of_the_activities() -> None:
    brine = CarbonateWater(
        ph=8.0,
        alkalinity_meq_per_l=3.0,
        temperature_c=20.0,
        sodium_meq_per_l=900.0,
        chloride_meq_per_l=900.0,
    )
    assert water_speciation(brine).ionic_strength_mol_per_l == 0.5
