"""All numbers of a block with their sources; what is derived is worked by hand."""

from __future__ import annotations

import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.reading.block_numbers import BlockNumbers, block_numbers
from service.operations.reading.read_plans import get_plan
from service.unit_sizes import L_PER_GALLON
from tests.api.invented_farm import BARE_BLOCK_ID, BLOCK_ID, PLAN_DAY, YOUNG_BLOCK_ID


def numbers_of(service: Service, block_id: str) -> BlockNumbers:
    return block_numbers(block_id, unit_of_work=service.unit_of_work, clock=service.clock)


def test_derived_numbers_are_those_of_the_plan_and_follow_by_hand(own_service: Service) -> None:
    derived = {each.name: each.value for each in numbers_of(own_service, BLOCK_ID).derived}
    # 0.75 ac are 32,670 ft2; an emitter of 0.5 gal/h on 10 ft x 1.5 ft, two lines.
    assert derived["flow_l_per_h"] == pytest.approx(2178.0 * L_PER_GALLON)
    assert derived["supply_flow_fraction"] == pytest.approx(2178.0 / (40.0 * 60.0))
    assert derived["root_depth_m"] == pytest.approx(18 * 0.0254)
    plan = get_plan(BLOCK_ID, day=PLAN_DAY, unit_of_work=own_service.unit_of_work).plan
    for name in ("taw_mm", "application_rate_mm_per_h", "crop_coefficient", "longest_pulse_min"):
        assert derived[name] == pytest.approx(plan.reasoning.quantities[name], rel=1e-3), name
    assert derived["trigger_mm"] == pytest.approx(0.7 * derived["raw_mm"])


def test_stated_numbers_say_whether_they_were_given(own_service: Service) -> None:
    stated = {each.name: each for each in numbers_of(own_service, BARE_BLOCK_ID).stated}
    assert (stated["area_m2"].value, stated["area_m2"].kind) == (4000.0, "given")
    assert stated["emission_uniformity_pct"].kind == "default"
    assert "measure it" in stated["emission_uniformity_pct"].origin
    assert all(each.origin for each in stated.values())


def test_a_block_without_a_plan_has_all_but_its_coefficient(own_service: Service) -> None:
    names = {each.name for each in numbers_of(own_service, YOUNG_BLOCK_ID).derived}
    assert "taw_mm" in names and "crop_coefficient" not in names


def test_an_unknown_block_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound):
        numbers_of(own_service, "test-farm.west")
