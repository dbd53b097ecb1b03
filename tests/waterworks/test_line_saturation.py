"""What falls out in the lines when fertiliser meets the water's own lime."""

from __future__ import annotations

import pytest

from service.waterworks.carbonate import CarbonateWater
from service.waterworks.fertiliser import PRODUCTS
from service.waterworks.line_saturation import element_mg_per_l, line_saturation

HARD = CarbonateWater(ph=7.7, alkalinity_meq_per_l=4.0, temperature_c=20.0, calcium_meq_per_l=3.5)
SOFT = CarbonateWater(ph=7.0, alkalinity_meq_per_l=0.5, temperature_c=20.0, calcium_meq_per_l=0.5)


def keys(water: CarbonateWater, product_key: str, kg: float, water_l: float) -> list[str]:
    added = element_mg_per_l([(PRODUCTS[product_key], kg)], water_l)
    return [each.key for each in line_saturation(water, added).advisories]


def test_calcium_fertiliser_in_a_hard_water_is_said() -> None:
    # 124 kg of calcium nitrate in 40 min of 60 m3/h, an invented orchard: 40 m3 of water.
    assert keys(HARD, "calcium-nitrate", 124.0, 40_000.0) == ["calcite-in-lines"]


def test_the_same_in_a_soft_water_is_not() -> None:
    assert keys(SOFT, "calcium-nitrate", 124.0, 40_000.0) == []


def test_phosphate_in_a_hard_water_is_said_and_in_a_soft_one_not() -> None:
    assert keys(HARD, "mkp", 20.0, 40_000.0) == ["phosphate-in-lines"]
    assert keys(SOFT, "mkp", 20.0, 40_000.0) == []


def test_potassium_changes_nothing_that_falls_out() -> None:
    assert keys(HARD, "potassium-nitrate", 50.0, 40_000.0) == []


def test_nothing_added_leaves_the_water_as_it_is() -> None:
    found = line_saturation(HARD, {})
    assert found.calcite_after == pytest.approx(found.calcite_before, abs=0.001)
    assert found.brushite_after is None
    assert found.ph_after == pytest.approx(HARD.ph, abs=0.001)


def test_more_water_means_less_saturation() -> None:
    indices = [
        line_saturation(
            HARD, element_mg_per_l([(PRODUCTS["calcium-nitrate"], 50.0)], litres)
        ).calcite_after
        for litres in (1e4, 1e5, 1e6, 1e9)
    ]
    known = [each for each in indices if each is not None]
    assert len(known) == 4 and known == sorted(known, reverse=True)
