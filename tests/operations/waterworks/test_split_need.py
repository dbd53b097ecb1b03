"""A season's need of a block over its days and products, with its last day for nitrogen."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.operations.waterworks.split_need import SeasonSplit, SplitRequest, split_need
from service.waterworks.season_split import NutrientNeed
from tests.api.invented_farm import BLOCK_ID, TODAY

JULY = (date(2026, 7, 20), date(2026, 7, 27))
REQUEST = SplitRequest(
    block_id=BLOCK_ID,
    need=NutrientNeed(nitrogen_kg_per_ha=46.65),
    days=JULY,
    product_keys=("urea",),
    weights=(1.0, 3.0),
)


def split(service: Service, request: SplitRequest = REQUEST) -> SeasonSplit:
    return split_need(request, on=TODAY, unit_of_work=service.unit_of_work)


def keys(found: SeasonSplit) -> list[str]:
    return [each.key for each in found.advisories]


def test_a_seasons_need_is_split_over_its_days_and_the_blocks_ground(own_service: Service) -> None:
    found = split(own_service)
    assert [each.need.day for each in found.days] == list(JULY)
    # Urea is 46.65 % nitrogen: 100 kg/ha in all, one and three quarters of it.
    masses = [each.product_kg[0] for each in found.days]
    assert masses == pytest.approx([25.0 * found.area_ha, 75.0 * found.area_ha], rel=0.001)


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        (replace(REQUEST, product_keys=("gold",)), "product"),
        (replace(REQUEST, product_keys=()), "product"),
        (replace(REQUEST, product_keys=("potassium-sulfate",)), "product"),
        (replace(REQUEST, weights=(1.0,)), "weights"),
        (replace(REQUEST, days=()), "days"),
    ],
    ids=["unknown product", "no product", "nothing asked for", "weights", "no day"],
)
def test_what_cannot_be_split_is_refused_with_its_place(
    own_service: Service, changed: SplitRequest, where: str
) -> None:
    with pytest.raises(InputInvalid) as refused:
        split(own_service, changed)
    assert where in [fault.where for fault in refused.value.faults]


def test_a_nutrient_without_a_product_is_not_dropped_without_a_word(own_service: Service) -> None:
    need = NutrientNeed(nitrogen_kg_per_ha=60.0, potassium_kg_per_ha=40.0)
    days = tuple(date(2026, month, 1) for month in (3, 4, 5, 6))
    request = replace(REQUEST, need=need, days=days, weights=None)
    short = split(own_service, replace(request, product_keys=("ammonium-sulfate",)))
    assert "nutrient-missing" in keys(short)
    whole = split(
        own_service, replace(request, product_keys=("ammonium-sulfate", "potassium-sulfate"))
    )
    assert "nutrient-missing" not in keys(whole)
    given = {each.nutrient: each.given_kg_per_ha for each in whole.accounts}
    assert (given["nitrogen"], given["potassium"]) == pytest.approx((60.0, 40.0))


def test_products_that_may_not_share_a_tank_are_named(own_service: Service) -> None:
    both = ("ammonium-sulfate", "calcium-nitrate")
    need = NutrientNeed(nitrogen_kg_per_ha=20.0, calcium_kg_per_ha=5.0)
    found = split(own_service, replace(REQUEST, need=need, product_keys=both, weights=None))
    (mixing,) = [each.text for each in found.advisories if each.key == "mixing"]
    assert "gypsum" in mixing


def test_the_blocks_last_day_for_nitrogen_holds_by_default(own_service: Service) -> None:
    # Blueberries in the south-east: none after July, common practice.
    days = (*JULY, date(2026, 8, 20))
    found = split(own_service, replace(REQUEST, days=days, weights=None))
    assert found.last_nitrogen is not None and found.last_nitrogen.day == date(2026, 7, 31)
    assert found.days[2].product_kg == (0.0,) and found.days[2].need.is_after_last_nitrogen
    late = replace(REQUEST, days=days, weights=None, last_nitrogen_day=date(2026, 9, 1))
    assert split(own_service, late).days[2].product_kg[0] > 0.0
    with pytest.raises(InputInvalid, match=r"up to 2026-07-31, the last one for nitrogen"):
        split(own_service, replace(REQUEST, days=(date(2026, 8, 20),), weights=None))


def test_a_spring_after_the_autumn_is_a_season_of_its_own(own_service: Service) -> None:
    days = (date(2026, 9, 1), date(2027, 4, 1))
    found = split(own_service, replace(REQUEST, days=days, weights=None))
    assert [each.need.is_after_last_nitrogen for each in found.days] == [True, False]


def test_nitrogen_that_comes_along_after_its_last_day_is_said(own_service: Service) -> None:
    request = replace(
        REQUEST,
        need=NutrientNeed(potassium_kg_per_ha=30.0),
        days=(date(2026, 7, 20), date(2026, 8, 20)),
        weights=None,
        product_keys=("potassium-nitrate",),
    )
    found = split(own_service, request)
    assert keys(found).count("late-nitrogen-along") == 1
    assert "nitrate-form" in keys(found)  # this block grows blueberries
