"""What one event and one season may bring before it is asked back."""

from __future__ import annotations

import pytest

from service.errors import InputInvalid
from service.waterworks.feeding_limits import EVENT_LIMITS, SEASON_LIMITS, Feeding, check_feeding
from service.waterworks.fertiliser import MICRONUTRIENTS, NUTRIENTS, PRODUCTS, labelled_product

HECTARE_M2 = 10_000.0


def urea(day: str, nitrogen_kg: float) -> Feeding:
    product = PRODUCTS["urea"]
    return Feeding(day, ((product, nitrogen_kg / product.nitrogen_fraction),))


def test_every_nutrient_has_limits_that_rise() -> None:
    for limits in (EVENT_LIMITS, SEASON_LIMITS):
        assert set(limits) == {*NUTRIENTS, *MICRONUTRIENTS}
        assert all(0.0 < common < most for common, most in limits.values())


def test_nine_hundred_kilograms_of_nitrogen_in_a_day_are_refused() -> None:
    with pytest.raises(InputInvalid) as refusal:
        check_feeding([urea("2026-05-01", 900.0)], HECTARE_M2)
    assert [fault.where for fault in refusal.value.faults] == [
        "nitrogen on 2026-05-01",
        "nitrogen of the season",
    ]
    assert "900 kg/ha" in refusal.value.faults[0].found


@pytest.mark.parametrize(
    ("nitrogen_kg", "keys"), [(19.9, []), (20.1, ["large-event"]), (49.9, ["large-event"])]
)
def test_an_event_above_what_is_common_is_said(nitrogen_kg: float, keys: list[str]) -> None:
    said = check_feeding([urea("2026-05-01", nitrogen_kg)], HECTARE_M2)
    assert [each.key for each in said] == keys


def test_many_small_events_make_a_large_season() -> None:
    days = [urea(f"day {n}", 15.0) for n in range(20)]
    said = check_feeding(days, HECTARE_M2)
    assert [each.key for each in said] == ["large-season"] and "300 kg/ha" in said[0].text
    with pytest.raises(InputInvalid, match="nitrogen of the season"):
        check_feeding([urea(f"day {n}", 15.0) for n in range(30)], HECTARE_M2)


def test_what_a_product_brings_besides_counts_too() -> None:
    # 300 kg of potassium nitrate for its potassium bring 41.6 kg of nitrogen, from its formula.
    said = check_feeding([Feeding("a day", ((PRODUCTS["potassium-nitrate"], 250.0),))], HECTARE_M2)
    assert {each.text.split(" of ")[1].split()[0] for each in said} == {"nitrogen", "potassium"}


def test_the_same_mass_on_less_ground_is_more() -> None:
    assert check_feeding([urea("a day", 15.0)], HECTARE_M2) == ()
    with pytest.raises(InputInvalid):
        check_feeding([urea("a day", 15.0)], HECTARE_M2 / 4.0)


def test_manganese_of_a_blend_is_capped() -> None:
    blend = labelled_product("blend", "Blend", k2o_pct=20.0, micronutrient_pct={"manganese": 1.0})
    assert [each.key for each in check_feeding([Feeding("day", ((blend, 200.0),))], 10_000.0)] == [
        "large-event"
    ]
    with pytest.raises(InputInvalid, match="manganese on day"):
        check_feeding([Feeding("day", ((blend, 600.0),))], 10_000.0)


def test_other_events_of_the_season_count_in_its_sum_but_are_not_asked_about() -> None:
    # 100 kg/ha alone is an ordinary season; with 150 kg/ha that are ordered already it is not.
    small = [urea(f"day {n}", 10.0) for n in range(10)]
    ordered = [urea(f"earlier {n}", 25.0) for n in range(6)]
    assert check_feeding(small, HECTARE_M2) == ()
    (said,) = check_feeding(small, HECTARE_M2, others=ordered)
    assert said.key == "large-season" and "250 kg/ha (223 lb/ac) of nitrogen" in said.text
    sulfate = Feeding("a day", ((PRODUCTS["potassium-sulfate"], 20.0),))
    assert check_feeding([sulfate], HECTARE_M2, others=[urea("earlier", 900.0)]) == ()
