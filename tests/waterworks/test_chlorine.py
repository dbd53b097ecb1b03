"""Chlorine that a water takes, and what must be said with it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.caution import CHLORINE_CAUTIONS
from service.waterworks.chlorine import CHLORINE_PER_IRON, ChlorineDose, chlorine_dose


def keys(dose: ChlorineDose) -> set[str]:
    return {each.key for each in dose.advisories}


def test_twenty_milligrams_into_twenty_seven_cubic_metres_an_hour() -> None:
    # 20 g/m3 x 27 m3/h = 540 g/h; of 125 g/L that is 4.32 L/h: by hand.
    dose = chlorine_dose(20.0, product_g_per_l=125.0, flow_l_per_h=27_000.0)
    assert dose.injector_l_per_h == pytest.approx(4.32, abs=1e-9)
    assert dose.product_ml_per_m3 == pytest.approx(160.0)


def test_iron_manganese_and_sulfide_take_their_part_first() -> None:
    # 70.906 g of Cl2 for two Fe, one Mn, one H2S: by hand.
    assert pytest.approx(0.635, abs=0.001) == CHLORINE_PER_IRON
    dose = chlorine_dose(
        1.0, product_g_per_l=100.0, iron_mg_per_l=1.0, manganese_mg_per_l=1.0,
        hydrogen_sulfide_mg_per_l=1.0, ph=7.0,
    )  # fmt: skip
    assert dose.demand_mg_per_l == pytest.approx(0.635 + 1.291 + 2.081, abs=0.002)
    assert dose.dose_mg_per_l == pytest.approx(1.0 + dose.demand_mg_per_l)
    assert keys(dose) == {"sulfide-further"}


def test_every_dose_carries_every_caution() -> None:
    dose = chlorine_dose(1.0, product_g_per_l=125.0)
    assert dose.cautions == CHLORINE_CAUTIONS
    assert {
        "never-with-chlorine", "backflow-prevention", "chlorine-practice", "chlorine-no-fertiliser",
    } <= {each.key for each in dose.cautions}  # fmt: skip
    assert any("Local code" in each.text for each in dose.cautions)


def test_acid_in_the_same_water_is_refused() -> None:
    with pytest.raises(InputInvalid, match="chlorine gas"):
        chlorine_dose(1.0, product_g_per_l=125.0, is_acid_injected=True)


@pytest.mark.parametrize(
    ("free", "expected"),
    [
        (2.4, set()),
        (2.5, {"plant-injury"}),
        (5.0, {"plant-injury"}),
        (10.0, {"plant-injury", "above-continuous"}),
    ],
)
def test_free_chlorine_that_injures_shrubs_is_said(free: float, expected: set[str]) -> None:
    dose = chlorine_dose(
        free, product_g_per_l=125.0, iron_mg_per_l=0.0, manganese_mg_per_l=0.0,
        hydrogen_sulfide_mg_per_l=0.0, ph=7.0,
    )  # fmt: skip
    assert keys(dose) == expected


def test_an_alkaline_water_weakens_it() -> None:
    dose = chlorine_dose(1.0, product_g_per_l=125.0, ph=8.5)
    assert dose.effective_share == pytest.approx(0.0988, abs=0.001)
    assert "weak-at-ph" in keys(dose) and "demand-unknown" in keys(dose)


@pytest.mark.parametrize(
    ("free", "product", "flow"),
    [(0.0, 125.0, 1.0), (51.0, 125.0, 1.0), (1.0, 0.125, 1.0), (1.0, 12_500.0, 1.0),
     (1.0, 125.0, 0.0), (float("nan"), 125.0, 1.0)],
)  # fmt: skip
def test_numbers_out_of_range_are_refused(free: float, product: float, flow: float) -> None:
    with pytest.raises(InputInvalid):
        chlorine_dose(free, product_g_per_l=product, flow_l_per_h=flow)


@given(
    free=st.floats(0.1, 50.0), product=st.floats(1.0, 250.0), flow=st.floats(1.0, 1e6),
    iron=st.floats(0.0, 50.0),
)  # fmt: skip
def test_what_the_injector_gives_is_what_the_water_gets(
    free: float, product: float, flow: float, iron: float
) -> None:
    dose = chlorine_dose(free, product_g_per_l=product, flow_l_per_h=flow, iron_mg_per_l=iron)
    assert dose.injector_l_per_h is not None
    given_g_per_h = dose.injector_l_per_h * product
    assert given_g_per_h == pytest.approx(dose.dose_mg_per_l * flow / 1000.0)
