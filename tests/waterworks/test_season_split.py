"""A season's need over its days and products: nothing asked for is dropped without a word."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.fertiliser import NUTRIENTS, PRODUCTS, labelled_product
from service.waterworks.season_split import (
    AccountState,
    NutrientAccount,
    NutrientNeed,
    account_advisories,
    account_state,
    product_masses,
    season_accounts,
    split_season,
)

SEASON = [date(2026, 4, 1) + timedelta(days=14 * place) for place in range(8)]
BOTH = NutrientNeed(nitrogen_kg_per_ha=60.0, potassium_kg_per_ha=40.0)


def said(need: NutrientNeed, *keys: str) -> dict[str, str]:
    products = [PRODUCTS[key] for key in keys]
    accounts = season_accounts([need], [product_masses(need, products)], products)
    return {
        f"{each.key} {account.nutrient}": each.text
        for account in accounts
        for each in account_advisories([account])
    }


def test_a_nutrient_that_no_product_holds_is_named_with_its_amount() -> None:
    found = said(BOTH, "ammonium-sulfate")
    assert found["nutrient-missing potassium"] == (
        "40 kg/ha (36 lb/ac) of potassium were asked for and these products give 0 kg/ha (0 lb/ac):"
        " add a product that holds it."
    )


def test_what_comes_along_unasked_is_named_with_its_amount() -> None:
    # By formula KNO3 is 13.85 % N and 38.67 % K: 60 kg of nitrogen bring 167.5 kg of potassium.
    found = said(NutrientNeed(nitrogen_kg_per_ha=60.0), "potassium-nitrate")
    assert "also bring 167 kg/ha (149 lb/ac) of potassium" in found["nutrient-unasked potassium"]
    assert "sulfur" in said(BOTH, "ammonium-sulfate")["nutrient-unasked sulfur"]


def test_two_products_bring_two_nutrients_exactly_whatever_their_order() -> None:
    # 40 kg of K are 103.4 kg of KNO3 with 14.3 kg of N; 45.7 kg of N are left for (NH4)2SO4.
    pair = ("ammonium-sulfate", "potassium-nitrate")
    for keys in (pair, pair[::-1]):
        masses = dict(zip(keys, product_masses(BOTH, [PRODUCTS[key] for key in keys]), strict=True))
        assert masses["potassium-nitrate"] == pytest.approx(103.4, abs=0.1)
        assert masses["ammonium-sulfate"] == pytest.approx(215.4, abs=0.1)
        assert not {key for key in said(BOTH, *keys) if key.startswith("nutrient-missing")}


def test_a_product_whose_nutrient_the_others_bring_already_is_left_out() -> None:
    need = NutrientNeed(nitrogen_kg_per_ha=5.0, potassium_kg_per_ha=80.0)
    masses = product_masses(need, [PRODUCTS["ammonium-sulfate"], PRODUCTS["potassium-nitrate"]])
    assert masses[0] == 0.0
    assert "nutrient-excess nitrogen" in said(need, "ammonium-sulfate", "potassium-nitrate")


def test_two_products_of_the_same_content_are_one_too_many_and_no_error() -> None:
    twin = [PRODUCTS["calcium-nitrate"], PRODUCTS["calcium-nitrate"]]
    masses = product_masses(NutrientNeed(nitrogen_kg_per_ha=10.0, calcium_kg_per_ha=10.0), twin)
    assert sum(masses) > 0.0


def test_a_product_with_nothing_that_is_asked_for_is_not_used() -> None:
    assert product_masses(BOTH, [PRODUCTS["magnesium-sulfate"]]) == (0.0,)
    assert product_masses(NutrientNeed(), [PRODUCTS["urea"]]) == (0.0,)


def test_micronutrients_of_a_blend_are_counted() -> None:
    blend = labelled_product("blend", "Blend", k2o_pct=20.0, micronutrient_pct={"manganese": 0.5})
    need = NutrientNeed(potassium_kg_per_ha=50.0)
    accounts = season_accounts([need], [product_masses(need, [blend])], [blend])
    # 50 / (0.20 x 0.8302) = 301 kg of blend, half a per cent of it manganese.
    assert {each.nutrient: each.given_kg_per_ha for each in accounts}["manganese"] == pytest.approx(
        1.51, abs=0.01
    )
    assert [each.key for each in account_advisories(accounts)] == ["nutrient-unasked"]


@given(
    amounts=st.lists(st.floats(0.0, 200.0), min_size=6, max_size=6),
    keys=st.lists(st.sampled_from(sorted(PRODUCTS)), min_size=1, max_size=4, unique=True),
)
def test_no_mass_is_negative_and_no_nutrient_asked_for_is_lost_from_the_account(
    amounts: list[float], keys: list[str]
) -> None:
    need = NutrientNeed(
        **{f"{name}_kg_per_ha": kg for name, kg in zip(NUTRIENTS, amounts, strict=True)}
    )
    products = [PRODUCTS[key] for key in keys]
    masses = product_masses(need, products)
    assert all(mass >= 0.0 for mass in masses)
    accounts = {each.nutrient: each for each in season_accounts([need], [masses], products)}
    for name, asked in zip(NUTRIENTS, amounts, strict=True):
        if asked > 0.0:
            assert accounts[name].asked_kg_per_ha == pytest.approx(asked)


def test_days_after_the_last_one_of_their_own_season_get_no_nitrogen() -> None:
    spread = split_season(BOTH, SEASON, late_days=frozenset(SEASON[4:]))
    assert [each.need.nitrogen_kg_per_ha for each in spread] == [15.0] * 4 + [0.0] * 4
    assert [each.is_after_last_nitrogen for each in spread] == [False] * 4 + [True] * 4


@given(
    nitrogen=st.floats(0.0, 200.0),
    potassium=st.floats(0.0, 300.0),
    weights=st.lists(st.floats(0.0, 10.0), min_size=8, max_size=8).filter(
        lambda parts: sum(parts[:4]) > 0.01
    ),
)
def test_a_season_split_over_its_days_sums_to_the_need(
    nitrogen: float, potassium: float, weights: list[float]
) -> None:
    need = NutrientNeed(nitrogen_kg_per_ha=nitrogen, potassium_kg_per_ha=potassium)
    spread = split_season(need, SEASON, weights=weights, last_nitrogen_day=SEASON[3])
    assert sum(each.need.nitrogen_kg_per_ha for each in spread) == pytest.approx(nitrogen)
    assert sum(each.need.potassium_kg_per_ha for each in spread) == pytest.approx(potassium)
    for each in spread:
        assert each.is_after_last_nitrogen == (each.day > SEASON[3])
        if each.is_after_last_nitrogen:
            assert each.need.nitrogen_kg_per_ha == 0.0


def test_days_may_come_in_any_order_and_leave_in_order_with_their_weights() -> None:
    spread = split_season(
        NutrientNeed(nitrogen_kg_per_ha=30.0), [SEASON[1], SEASON[0]], weights=[2.0, 1.0]
    )
    assert [each.day for each in spread] == [SEASON[0], SEASON[1]]
    assert [each.need.nitrogen_kg_per_ha for each in spread] == pytest.approx([10.0, 20.0])


def test_nitrogen_with_no_day_left_is_refused_with_the_dates() -> None:
    with pytest.raises(InputInvalid, match=r"2026-04-01.*2026-03-01"):
        split_season(
            NutrientNeed(nitrogen_kg_per_ha=10.0), SEASON, last_nitrogen_day=date(2026, 3, 1)
        )


def test_other_nutrients_need_no_nitrogen_day() -> None:
    spread = split_season(
        NutrientNeed(potassium_kg_per_ha=80.0), SEASON, last_nitrogen_day=date(2026, 3, 1)
    )
    assert [each.need.potassium_kg_per_ha for each in spread] == [10.0] * 8


def test_every_fault_of_a_split_is_listed() -> None:
    with pytest.raises(InputInvalid) as refusal:
        split_season(
            NutrientNeed(nitrogen_kg_per_ha=-1.0), [SEASON[0], SEASON[0]], weights=[0.0, 0.0, 0.0]
        )
    assert [fault.where for fault in refusal.value.faults] == [
        "nitrogen_kg_per_ha",
        "days",
        "weights",
        "weights",
    ]
    with pytest.raises(InputInvalid, match="at least one fertigation day"):
        split_season(NutrientNeed(), [])


@pytest.mark.parametrize(
    ("nutrient", "asked", "given", "state"),
    [
        ("nitrogen", 40.0, 40.0, AccountState.AS_ASKED),
        ("nitrogen", 40.0, 39.0, AccountState.MISSING),
        ("nitrogen", 40.0, 43.0, AccountState.EXCESS),
        ("sulfur", 0.0, 0.4, AccountState.AS_ASKED),
        ("sulfur", 0.0, 0.6, AccountState.UNASKED),
        ("manganese", 0.0, 0.01, AccountState.UNASKED),
    ],
)
def test_a_nutrient_is_missing_too_much_or_comes_along(
    nutrient: str, asked: float, given: float, state: AccountState
) -> None:
    assert account_state(NutrientAccount(nutrient, asked, given)) is state
