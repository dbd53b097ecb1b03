"""Acid of one injection and of a season, against sums by hand."""

from __future__ import annotations

import math

import pytest

from service.errors import InputInvalid
from service.waterworks.acid import AcidDose, acid_dose
from service.waterworks.acid_amounts import (
    AcidAmount,
    AcidPrice,
    acid_injection,
    season_acid,
)
from service.waterworks.carbonate import CarbonateWater

WELL = CarbonateWater(ph=7.8, alkalinity_meq_per_l=120.0 / 50.04, temperature_c=20.0)
"""Invented water of 120 mg/L of alkalinity as CaCO3."""
TWO_FEET_MM = 24.0 * 25.4


def dose_to(target_ph: float, acid_key: str = "sulfuric", strength_pct: float = 93.0) -> AcidDose:
    return acid_dose(WELL, target_ph, acid_key=acid_key, strength_pct=strength_pct)


def test_two_feet_of_water_at_120_mg_per_l_take_312_kg_of_acid_an_acre() -> None:
    # By hand: 24 acre-inches are 2,467 m3; 120 g/m3 of CaCO3 are 296 kg; 98.08 / 100.09 of that is
    # pure acid, 290 kg; over 0.93 are 312 kg of product, which hold 94.8 kg of sulfur.
    found = season_acid(dose_to(4.5), TWO_FEET_MM)
    assert found.used_up_fraction == pytest.approx(1.0, abs=0.005)  # pH 4.5 is the end point
    assert found.per_acre.product_kg == pytest.approx(312.0, abs=1.0)
    assert found.nutrient == "sulfur"
    assert found.nutrient_kg_per_ha * 0.40468564 == pytest.approx(94.8, abs=0.3)


@pytest.mark.parametrize(("target_ph", "share"), [(6.5, 0.39), (6.0, 0.67), (5.5, 0.87)])
def test_a_higher_ph_uses_up_less_of_the_alkalinity_and_takes_less_acid(
    target_ph: float, share: float
) -> None:
    # By hand with pK1 6.38 at 20 degC: bicarbonate is 1 / (1 + 10^(6.38 - pH)) of the carbonate,
    # which is 1.04 times the alkalinity at pH 7.8.
    total = 1.0 + 10.0 ** (6.38 - 7.8)
    by_hand = 1.0 - total / (1.0 + 10.0 ** (6.38 - target_ph))
    found = season_acid(dose_to(target_ph), TWO_FEET_MM)
    assert found.used_up_fraction == pytest.approx(share, abs=0.02)
    assert found.used_up_fraction == pytest.approx(by_hand, abs=0.03)
    assert found.per_acre.product_kg == pytest.approx(312.0 * found.used_up_fraction, rel=0.01)


def test_a_block_an_acre_and_a_hectare_agree_in_every_unit() -> None:
    found = season_acid(dose_to(6.5), 600.0, area_m2=20_234.28)
    assert found.block is not None and found.block.product_l is not None
    assert found.block.product_kg == pytest.approx(5.0 * found.per_acre.product_kg, rel=1e-6)
    assert found.per_ha.product_kg == pytest.approx(found.per_acre.product_kg / 0.40468564)
    # 93 % sulfuric acid weighs 1.8279 kg/L; a gallon is 3.785 L and 128 fl oz.
    assert found.block.product_l == pytest.approx(found.block.product_kg / 1.8279)
    gallons, ounces = found.block.product_gal, found.block.product_fl_oz
    assert gallons == pytest.approx(found.block.product_l / 3.785411784)
    assert gallons is not None and ounces == pytest.approx(128.0 * gallons)
    assert found.block.product_lb == pytest.approx(found.block.product_kg / 0.45359237)


@pytest.mark.parametrize(
    ("per", "units"), [("kg", 1.0), ("lb", 2.2046226), ("L", 1 / 1.8279), ("gal", 0.1445222)]
)
def test_the_cost_is_the_price_times_what_it_is_of(per: str, units: float) -> None:
    found = season_acid(dose_to(6.5), 600.0, area_m2=8000.0, price=AcidPrice(2.5, per))
    assert found.block is not None
    assert found.block_cost == pytest.approx(2.5 * units * found.block.product_kg, rel=1e-5)
    assert found.cost_per_acre == pytest.approx(2.5 * units * found.per_acre.product_kg, rel=1e-5)
    assert season_acid(dose_to(6.5), 600.0).block_cost is None


def test_a_solid_has_no_volume_and_no_price_for_one() -> None:
    crystals = dose_to(6.5, "citric", 100.0)
    assert season_acid(crystals, 600.0).per_ha.product_l is None
    assert AcidAmount(1.0, None).product_fl_oz is None
    with pytest.raises(InputInvalid) as refusal:
        season_acid(crystals, 600.0, price=AcidPrice(2.0, "L"))
    assert refusal.value.faults[0].allowed == "0 or more, per kg, lb"


@pytest.mark.parametrize("water_mm", [0.0, -1.0, 3001.0, math.nan])
def test_water_that_no_season_has_is_refused(water_mm: float) -> None:
    with pytest.raises(InputInvalid):
        season_acid(dose_to(6.5), water_mm)


def test_an_injection_says_how_much_water_goes_into_the_tank_before_the_acid() -> None:
    # By hand: 4,000 L/h for 30 min are 2 m3; the tank gives 20 L/h for half an hour, 10 L.
    dose = dose_to(6.5)
    found = acid_injection(dose, 30.0, 4000.0, tank_l_per_h=20.0, travel_min=12.0)
    assert found.water_l == 2000.0 and found.tank_l == 10.0
    assert dose.acid_ml_per_m3 is not None and found.acid.product_l is not None
    assert found.acid.product_l == pytest.approx(2.0 * dose.acid_ml_per_m3 / 1000.0)
    assert found.clean_water_l == pytest.approx(10.0 - found.acid.product_l)
    assert found.flush_min == 12.0 and found.advisories == ()
    water_first = next(step for step in found.steps if "tank" in step)
    assert water_first.index("clean water") < water_first.index("add the acid")
    assert "Flush" in found.steps[-1]


def test_strong_tanks_and_injections_shorter_than_the_way_are_named() -> None:
    found = acid_injection(dose_to(6.5), 5.0, 4000.0, tank_l_per_h=0.5, travel_min=12.0)
    assert [each.key for each in found.advisories] == ["strong-tank", "shorter-than-travel"]


@pytest.mark.parametrize(
    ("minutes", "tank_l_per_h", "where"),
    [(0.0, 20.0, "injection_min"), (math.nan, 20.0, "injection_min"),
     (30.0, 0.0, "tank_l_per_h"), (30.0, 0.05, "tank_l_per_h")],
)  # fmt: skip
def test_an_injection_that_cannot_be_is_refused(
    minutes: float, tank_l_per_h: float, where: str
) -> None:
    with pytest.raises(InputInvalid) as refusal:
        acid_injection(dose_to(6.5), minutes, 4000.0, tank_l_per_h=tank_l_per_h)
    assert refusal.value.faults[0].where == where
