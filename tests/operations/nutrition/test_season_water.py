"""What a season's water brings to a block, with and without acid."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid
from service.nutrition.season_facts import WaterFacts
from service.operations.nutrition.plan_nutrients import PlanRequest, plan_nutrients
from service.operations.nutrition.season_water import season_water
from tests.api.invented_farm import BLOCK_ID, TODAY
from tests.operations.nutrition.test_plan_nutrients import with_tests


def water_of(service: Service, *, acidified_ph: float | None = None) -> WaterFacts:
    with service.unit_of_work(write=False) as unit:
        return season_water(
            unit,
            unit.blocks.get_block(BLOCK_ID, day=TODAY),
            on=TODAY,
            planned_mm=250.0,
            acidified_ph=acidified_ph,
            origins=[],
        )


def test_acid_takes_the_alkalinity_that_the_carbonate_model_takes(own_service: Service) -> None:
    service = with_tests(own_service)
    whole = water_of(service).alkalinity_mg_per_l
    left = water_of(service, acidified_ph=5.5).alkalinity_mg_per_l
    assert whole is not None and left is not None
    assert whole == pytest.approx(80.0, abs=0.2)
    # 88 % is gone at pH 5.5: worked by hand from the first dissociation of carbonic acid.
    assert 1.0 - left / whole == pytest.approx(0.88, abs=0.03)
    milder = water_of(service, acidified_ph=6.5).alkalinity_mg_per_l
    assert milder is not None and left < milder < whole


def test_acidified_water_lowers_the_balance_and_says_so(own_service: Service) -> None:
    service = with_tests(own_service)

    def plan(ph: float | None) -> tuple[float, tuple[str, ...]]:
        found = plan_nutrients(
            BLOCK_ID, PlanRequest(planned_mm=250.0, acidified_ph=ph), on=TODAY,
            unit_of_work=service.unit_of_work,
        ).plan  # fmt: skip
        assert found.carbonate_balance_kg_per_ha is not None
        return found.carbonate_balance_kg_per_ha, found.balance_words

    untreated, words = plan(None)
    treated, said = plan(5.5)
    # 200 kg/ha of CaCO3 in 250 mm of 80 mg/L, of which 12 % is left.
    assert untreated - treated == pytest.approx(0.88 * 200.0, rel=0.04)
    assert not any("acid" in each for each in words)
    assert any("left after acid" in each and "cautions" in each for each in said)


def test_a_ph_that_acid_does_not_bring_is_refused_at_its_place(own_service: Service) -> None:
    with pytest.raises(InputInvalid) as without:
        water_of(own_service, acidified_ph=6.0)
    assert [each.where for each in without.value.faults] == ["acidified_ph"]
    service = with_tests(own_service)
    for ph in (4.5, 7.9):  # too low without a titration; above the water's own
        with pytest.raises(InputInvalid) as refused:
            water_of(service, acidified_ph=ph)
        assert {each.where for each in refused.value.faults} == {"acidified_ph"}
