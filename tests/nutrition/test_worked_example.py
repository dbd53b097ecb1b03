"""A highbush blueberry from its tests to its plan: every number by hand.

With the ranges and the base of the worked example's own sources (Michigan, from memory), and with
what was read since, which is what the service takes by itself.
"""

from __future__ import annotations

from datetime import date

import pytest

from service.nutrition.leaf_classes import LeafClass
from service.nutrition.season_plan import season_plan
from tests.nutrition.worked_example import facts, leaf


def test_the_leaf_is_low_in_nitrogen_magnesium_and_boron_by_the_michigan_row() -> None:
    found = leaf()
    at = {each.nutrient: each for each in found.cards}
    low = [name for name, card in at.items() if card.leaf_class is LeafClass.LOW]
    assert low == ["N", "Mg", "B"]
    assert all(at[n].leaf_class is LeafClass.SUFFICIENT for n in set(at) - set(low))
    assert at["N"].deviation == pytest.approx(-15.8, abs=0.05)
    assert at["N"].word == "low"  # 16 % chance of being sufficient: clearly low
    assert at["N"].changes_at[0] == pytest.approx(1.275)
    assert at["Mg"].changes_at[0] == pytest.approx(0.1125)
    assert at["N"].basis == "memory"
    assert found.most_limiting[0] == "B" or found.most_limiting[0] == "Mg"


def test_the_same_leaf_is_deficient_by_the_row_that_was_read() -> None:
    at = {each.nutrient: each for each in leaf(row_key="highbush-georgia").cards}
    assert at["N"].leaf_class is LeafClass.DEFICIENT  # below 1.70
    assert at["Mg"].leaf_class is LeafClass.SUFFICIENT
    assert at["N"].basis == "second-hand"


def test_nitrogen_of_the_worked_example() -> None:
    plan = season_plan(facts())
    assert plan.nitrogen is not None
    by_key = {line.key: line.kg_per_ha for line in plan.nitrogen.lines}
    assert by_key["base"] + by_key["leaf-and-vigour"] == pytest.approx(61.6)
    assert by_key["water"] == pytest.approx(-8.0)
    assert by_key["organic-matter"] == pytest.approx(-13.2)
    assert "change-cap" not in by_key
    assert plan.nitrogen.total_kg_per_ha == pytest.approx(40.4)
    assert [round(part.kg_per_ha, 1) for part in plan.parts] == [8.1, 10.1, 10.1, 8.1, 4.0]
    assert [part.day.month for part in plan.parts] == [3, 4, 5, 6, 7]
    assert plan.last_nitrogen is not None and plan.last_nitrogen.day == date(2027, 7, 31)
    assert sum(part.block_kg for part in plan.parts) == pytest.approx(48.5, abs=0.05)
    assert sum(part.product_kg or 0.0 for part in plan.parts) == pytest.approx(231, abs=0.5)
    assert sum(part.lb_per_ac for part in plan.parts) == pytest.approx(36.0, abs=0.1)


def test_a_season_under_way_is_not_made_up_for_in_what_is_left() -> None:
    plan = season_plan(facts(today=date(2027, 6, 1)))
    assert [(part.day.month, round(part.kg_per_ha, 1)) for part in plan.parts] == [
        (6, 8.1), (7, 4.0),
    ]  # fmt: skip
    assert any("taken as given" in gap for gap in plan.gaps)
    assert not any("taken as given" in gap for gap in season_plan(facts()).gaps)
    # The legal cap is one of the season: what lies behind has used it up.
    assert season_plan(facts(today=date(2027, 6, 1), legal_cap_kg_per_ha=20.0)).parts == ()


def test_nitrogen_with_the_base_that_was_read() -> None:
    # 45 lb/ac in year 6 is 50 kg/ha; deficient by the Georgia row: 62.5; less 21.2 of credits.
    plan = season_plan(facts(base_kg_per_ha=None, leaf=leaf(row_key="highbush-georgia")))
    assert plan.nitrogen is not None
    assert plan.nitrogen.total_kg_per_ha == pytest.approx(50.0 * 1.25 - 21.2)


def test_neither_phosphorus_nor_potassium_is_needed() -> None:
    plan = season_plan(facts())
    assert [(each.oxide, each.kg_per_ha) for each in plan.oxides] == [("P2O5", 0.0), ("K2O", 0.0)]
    at = {card.nutrient: card.soil_class.word for card in plan.soil_cards}
    assert at["K"] == "optimum"  # the row's 50 to 90 is low; blueberry at half of it
    assert any("magnesium sulfate" in text for text in plan.others)
    assert any("never on soil and leaf both" in text for text in plan.others)


def test_sulfur_takes_three_years_and_water_takes_back_what_fertiliser_acidifies() -> None:
    plan = season_plan(facts())
    assert plan.sulfur is not None
    assert plan.sulfur.total_kg_per_ha == pytest.approx(768, abs=1)
    assert [part.year for part in plan.sulfur.parts] == [1, 2, 3]
    assert plan.sulfur.parts[0].lb_per_ac == pytest.approx(229, abs=1)
    assert plan.carbonate_balance_kg_per_ha == pytest.approx(-16, abs=0.5)
    assert any("takes back" in text for text in plan.balance_words)
    assert any("64 kg/ha of sulfur" in text for text in plan.balance_words)
    assert any("threefold" in text for text in plan.sulfur.notes)


def test_the_next_sample_is_due_in_the_window_of_the_coming_summer() -> None:
    found = season_plan(facts()).next_leaf
    assert found is not None
    assert (found.opens, found.closes) == (date(2027, 7, 25), date(2027, 8, 10))


def test_what_is_missing_is_named_and_nothing_is_guessed() -> None:
    plan = season_plan(facts(leaf=None, soil=None))
    assert any("No soil test" in gap for gap in plan.gaps)
    assert any("No class of leaf nitrogen" in gap for gap in plan.gaps)
    assert plan.sulfur is None and plan.oxides == ()
    assert plan.nitrogen is not None
    assert plan.nitrogen.total_kg_per_ha == pytest.approx(55.0 - 8.0)
