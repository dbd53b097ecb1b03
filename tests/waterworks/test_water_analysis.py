"""A laboratory's report in any of its units, what follows from it, and what contradicts itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.water_analysis import (
    QUANTITIES,
    Reading,
    WaterAnalysis,
    analysis_from_readings,
    canonical_unit,
    carbonate_water,
    complete_analysis,
)

# Invented well water, charges balanced: cations 5.5, anions 5.5 meq/L.
WELL = [
    Reading("ph", 7.6, ""),
    Reading("ec", 550, "µS/cm"),
    Reading("alkalinity", 150.12, "mg/L as CaCO3"),
    Reading("calcium", 50.1, "mg/L"),
    Reading("magnesium", 18.23, "mg/L"),
    Reading("sodium", 1.5, "meq/L"),
    Reading("chloride", 53.18, "ppm"),
    Reading("sulfate", 0.5, "mmol/L"),
]


def keys_of(analysis: WaterAnalysis) -> list[str]:
    return [advisory.key for advisory in analysis.advisories]


def derived_names(analysis: WaterAnalysis) -> set[str]:
    return {derived.name for derived in analysis.derived}


def test_a_report_in_mixed_units_comes_out_in_one_set() -> None:
    well = analysis_from_readings(WELL)
    assert well.ec_ds_m == pytest.approx(0.55)
    assert well.alkalinity_meq_per_l == pytest.approx(3.0)
    assert well.calcium_meq_per_l == pytest.approx(2.5, abs=0.001)
    assert well.magnesium_meq_per_l == pytest.approx(1.5, abs=0.001)
    assert well.sodium_meq_per_l == 1.5
    assert well.chloride_meq_per_l == pytest.approx(1.5, abs=0.001)
    assert well.sulfate_meq_per_l == pytest.approx(1.0)


def test_a_good_report_balances_its_charges_and_draws_no_remark() -> None:
    well = analysis_from_readings(WELL)
    assert well.charge_balance is not None
    assert well.charge_balance.difference_pct == pytest.approx(0.0, abs=0.1)
    assert not well.charge_balance.is_off
    assert well.advisories == ()


@pytest.mark.parametrize(
    ("value", "unit"),
    [
        (1.2, "dS/m"),
        (1.2, "mS/cm"),
        (1200, "uS/cm"),
        (1200, "µS/cm"),
        (1200, "μS cm⁻¹"),
        (1.2, "mmhos/cm"),
        (1200, "umhos/cm"),
        (1200, "µmho/cm"),
        (120, "mS/m"),
    ],
)
def test_conductivity_is_read_in_every_unit_that_laboratories_use(value: float, unit: str) -> None:
    assert analysis_from_readings([Reading("ec", value, unit)]).ec_ds_m == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("value", "unit"),
    [
        (40.078, "mg/L"),
        (40.078, "ppm"),
        (40.078, "mg L-1"),
        (40078, "ug/L"),
        (2.0, "meq/L"),
        (2.0, "me/L"),
        (2.0, "mmol(+)/L"),
        (1.0, "mmol/L"),
        (100.08, "mg/L as CaCO3"),
        (100.08, "ppm CaCO3"),
    ],
)
def test_calcium_is_read_in_every_unit_that_laboratories_use(value: float, unit: str) -> None:
    found = analysis_from_readings([Reading("calcium", value, unit)])
    assert found.calcium_meq_per_l == pytest.approx(2.0, rel=1e-4)


@pytest.mark.parametrize(
    ("quantity", "value", "unit"),
    [
        ("nitrate", 44.27, "mg/L"),
        ("nitrate-nitrogen", 10.0, "mg/L"),
        ("nitrate-nitrogen", 10.0, "ppm"),
        ("nitrate", 0.714, "mmol/L"),
    ],
)
def test_nitrate_as_ion_and_as_nitrogen_are_told_apart(
    quantity: str, value: float, unit: str
) -> None:
    found = analysis_from_readings([Reading(quantity, value, unit)])
    assert found.nitrate_nitrogen_mg_per_l == pytest.approx(10.0, rel=1e-3)
    assert found.nitrate_meq_per_l == pytest.approx(0.714, rel=1e-3)


def test_sulfate_as_sulfur_is_told_apart() -> None:
    as_ion = analysis_from_readings([Reading("sulfate", 96.06, "mg/L")])
    as_sulfur = analysis_from_readings([Reading("sulfate-sulfur", 32.06, "mg/L")])
    assert as_ion.sulfate_meq_per_l == pytest.approx(as_sulfur.sulfate_meq_per_l)


@given(value=st.floats(0.1, 40.0))
def test_milligrams_and_equivalents_of_an_ion_lead_back_to_one_another(value: float) -> None:
    for quantity, mass, charge in (("sodium", 22.990, 1), ("magnesium", 24.305, 2)):
        in_mg = analysis_from_readings([Reading(quantity, value * mass / charge, "mg/L")])
        in_meq = analysis_from_readings([Reading(quantity, value, "meq/L")])
        field = f"{quantity}_meq_per_l"
        assert getattr(in_mg, field) == pytest.approx(getattr(in_meq, field), rel=1e-12)


@pytest.mark.parametrize("quantity", ["alkalinity", "hardness"])
def test_milligrams_that_do_not_say_of_what_are_refused(quantity: str) -> None:
    with pytest.raises(InputInvalid, match="mg/L as CaCO3 is the usual form"):
        analysis_from_readings([Reading(quantity, 120.0, "mg/L")])


def test_every_fault_of_a_report_is_listed() -> None:
    with pytest.raises(InputInvalid) as refusal:
        analysis_from_readings(
            [
                Reading("colour", 1.0, ""),
                Reading("calcium", 1.0, "furlongs"),
                Reading("ph", 78.0, ""),
                Reading("ec", 800.0, "dS/m"),
                Reading("sodium", -1.0, "mg/L"),
                Reading("iron", float("nan"), "mg/L"),
                Reading("chloride", 1.0, "meq/L"),
                Reading("chloride", 2.0, "meq/L"),
            ]
        )
    assert [fault.where.split()[0] for fault in refusal.value.faults] == [
        f"reading[{place}]" for place in (0, 1, 2, 3, 4, 5, 7)
    ]
    assert "800 uS/cm are 0.8 dS/m" in str(refusal.value)


def test_an_empty_report_is_refused() -> None:
    with pytest.raises(InputInvalid, match="at least one line"):
        analysis_from_readings([])


@pytest.mark.parametrize("quantity", sorted(QUANTITIES))
def test_every_quantity_is_a_field_and_its_units_are_spelt_the_canonical_way(quantity: str) -> None:
    entry = QUANTITIES[quantity]
    assert hasattr(WaterAnalysis(), entry.field)
    assert [unit for unit in entry.factors if canonical_unit(unit) != unit] == []


def test_charges_that_do_not_balance_are_said_with_the_side() -> None:
    wrong = [*WELL[:-2], Reading("chloride", 53.18, "meq/L"), WELL[-1]]
    found = analysis_from_readings(wrong)
    assert found.charge_balance is not None and found.charge_balance.is_off
    advisory = next(each for each in found.advisories if each.key == "charge-balance-off")
    assert "too many anions" in advisory.text and "unit that was misread" in advisory.text


@given(extra=st.floats(-4.0, 20.0))
def test_the_charge_balance_is_off_exactly_beyond_ten_per_cent(extra: float) -> None:
    found = complete_analysis(
        WaterAnalysis(
            alkalinity_meq_per_l=3.0,
            chloride_meq_per_l=5.0 + extra,
            sulfate_meq_per_l=1.0,
            calcium_meq_per_l=4.0,
            magnesium_meq_per_l=2.0,
            sodium_meq_per_l=3.0,
        )
    )
    anions = 9.0 + extra
    is_off = abs(9.0 - anions) / (9.0 + anions) > 0.10
    assert found.charge_balance is not None
    assert found.charge_balance.is_off == is_off
    assert ("charge-balance-off" in keys_of(found)) == is_off


@pytest.mark.parametrize(("cations", "is_off"), [(10.95, False), (12.1, False), (12.3, True)])
def test_a_difference_of_ten_per_cent_of_the_sum_is_the_limit(cations: float, is_off: bool) -> None:
    # 100 (12.1 - 10) / 22.1 = 9.5 %, 100 (12.3 - 10) / 22.3 = 10.3 %: Standard Methods 1030 E,
    # from memory.
    found = complete_analysis(
        WaterAnalysis(
            alkalinity_meq_per_l=4.0,
            chloride_meq_per_l=4.0,
            sulfate_meq_per_l=2.0,
            calcium_meq_per_l=4.0,
            magnesium_meq_per_l=2.0,
            sodium_meq_per_l=cations - 6.0,
        )
    )
    assert found.charge_balance is not None
    assert found.charge_balance.is_off is is_off


def test_a_missing_ion_leaves_the_balance_open() -> None:
    assert analysis_from_readings(WELL[:-1]).charge_balance is None


def test_sodium_is_derived_from_the_charges_and_then_proves_nothing() -> None:
    found = analysis_from_readings([each for each in WELL if each.quantity != "sodium"])
    assert found.sodium_meq_per_l == pytest.approx(1.5, abs=0.01)
    assert "sodium_meq_per_l" in derived_names(found)
    assert found.charge_balance is None


def test_sodium_is_not_derived_where_it_would_be_negative() -> None:
    found = complete_analysis(
        WaterAnalysis(
            calcium_meq_per_l=6.0,
            magnesium_meq_per_l=2.0,
            alkalinity_meq_per_l=3.0,
            chloride_meq_per_l=1.0,
            sulfate_meq_per_l=1.0,
        )
    )
    assert found.sodium_meq_per_l is None
    assert "charge-balance-off" in keys_of(found)


def test_alkalinity_is_bicarbonate_plus_carbonate() -> None:
    found = complete_analysis(WaterAnalysis(bicarbonate_meq_per_l=3.0, carbonate_meq_per_l=0.4))
    assert found.alkalinity_meq_per_l == pytest.approx(3.4)
    assert "alkalinity_meq_per_l" in derived_names(found)


def test_bicarbonate_and_carbonate_follow_from_alkalinity_and_ph() -> None:
    found = complete_analysis(WaterAnalysis(alkalinity_meq_per_l=3.0, ph=8.6))
    assert found.bicarbonate_meq_per_l is not None and found.carbonate_meq_per_l is not None
    together = found.bicarbonate_meq_per_l + found.carbonate_meq_per_l
    assert together == pytest.approx(3.0, abs=0.01)
    assert 0.05 < found.carbonate_meq_per_l < 0.2


def test_alkalinity_that_contradicts_bicarbonate_is_said() -> None:
    found = complete_analysis(WaterAnalysis(alkalinity_meq_per_l=3.0, bicarbonate_meq_per_l=5.0))
    assert "alkalinity-contradicts" in keys_of(found)
    assert found.alkalinity_meq_per_l == 3.0


@pytest.mark.parametrize(
    ("given_values", "name", "expected"),
    [
        ({"calcium_meq_per_l": 2.0, "magnesium_meq_per_l": 1.0}, "hardness_mg_per_l", 150.12),
        ({"calcium_meq_per_l": 2.0, "hardness_mg_per_l": 150.12}, "magnesium_meq_per_l", 1.0),
        ({"magnesium_meq_per_l": 1.0, "hardness_mg_per_l": 150.12}, "calcium_meq_per_l", 2.0),
    ],
)
def test_of_calcium_magnesium_and_hardness_the_third_follows(
    given_values: dict[str, float], name: str, expected: float
) -> None:
    found = complete_analysis(WaterAnalysis(**given_values))  # type: ignore[arg-type]  # numbers only
    assert getattr(found, name) == pytest.approx(expected)
    assert name in derived_names(found)


def test_hardness_that_contradicts_its_ions_is_said() -> None:
    too_little = complete_analysis(WaterAnalysis(calcium_meq_per_l=5.0, hardness_mg_per_l=100.0))
    assert too_little.magnesium_meq_per_l is None
    assert "hardness-contradicts" in keys_of(too_little)
    apart = complete_analysis(
        WaterAnalysis(calcium_meq_per_l=2.0, magnesium_meq_per_l=1.0, hardness_mg_per_l=300.0)
    )
    assert "hardness-contradicts" in keys_of(apart)


def test_conductivity_and_dissolved_solids_follow_from_one_another() -> None:
    assert complete_analysis(WaterAnalysis(ec_ds_m=1.0)).dissolved_solids_mg_per_l == 640.0
    assert complete_analysis(WaterAnalysis(dissolved_solids_mg_per_l=640.0)).ec_ds_m == 1.0
    assert complete_analysis(WaterAnalysis(ec_ds_m=6.0)).dissolved_solids_mg_per_l == 4800.0
    assert complete_analysis(WaterAnalysis(dissolved_solids_mg_per_l=4800.0)).ec_ds_m == 6.0


def test_conductivity_far_from_the_ions_is_said() -> None:
    wrong = [Reading("ec", 5.5, "dS/m") if each.quantity == "ec" else each for each in WELL]
    assert "ec-contradicts" in keys_of(analysis_from_readings(wrong))


def test_what_is_missing_is_named_with_what_it_is_needed_for() -> None:
    found = analysis_from_readings([Reading("ec", 0.5, "dS/m")])
    missing = {each.name: each.needed_for for each in found.missing}
    assert "acid dose" in missing["alkalinity_meq_per_l"]
    assert "SAR" in missing["sodium_meq_per_l"]
    assert "ec_ds_m" not in missing


def test_values_below_detection_are_taken_at_the_limit_and_said() -> None:
    found = analysis_from_readings([Reading("iron", 0.05, "mg/L", is_below_detection=True)])
    assert found.iron_mg_per_l == 0.05
    assert "iron" in found.advisories[0].text


def test_bacteria_in_a_hundred_millilitres_are_counted_per_millilitre() -> None:
    found = analysis_from_readings([Reading("bacteria", 5_000.0, "cfu/100 mL")])
    assert found.bacteria_per_ml == pytest.approx(50.0)


@given(alkalinity=st.floats(0.5, 8.0), ph=st.floats(6.5, 8.5), calcium=st.floats(0.5, 8.0))
def test_completing_twice_changes_nothing(alkalinity: float, ph: float, calcium: float) -> None:
    once = complete_analysis(
        WaterAnalysis(alkalinity_meq_per_l=alkalinity, ph=ph, calcium_meq_per_l=calcium)
    )
    twice = complete_analysis(once)
    assert twice == once


def test_the_acid_dose_asks_for_ph_and_alkalinity() -> None:
    with pytest.raises(InputInvalid) as refusal:
        carbonate_water(WaterAnalysis(), 20.0)
    assert [fault.where for fault in refusal.value.faults] == ["ph", "alkalinity_meq_per_l"]
    with pytest.raises(InputInvalid, match="there is no acid dose"):
        carbonate_water(WaterAnalysis(ph=7.0, alkalinity_meq_per_l=0.0), 20.0)


def test_ions_travel_into_the_carbonate_water() -> None:
    water = carbonate_water(analysis_from_readings(WELL), 18.0)
    assert water.temperature_c == 18.0
    assert water.alkalinity_meq_per_l == pytest.approx(3.0)
    assert water.sodium_meq_per_l == 1.5
    assert water.ec_ds_m == pytest.approx(0.55)
