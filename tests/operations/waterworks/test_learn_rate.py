"""A rate learned from the meter: offered in words, used when accepted, never by itself."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import Conflict
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.block_pipes import expected_flow_l_per_h, solve_definition
from service.operations.waterworks.check_flow import check_flow
from service.operations.waterworks.learn_rate import (
    BEYOND_SUPPLY,
    CHANGED_FIRST,
    TOO_FEW,
    WITHIN_SPREAD,
    RateOffer,
    get_rate_offer,
    use_rate,
)
from service.records.farms import BlockDefinition
from service.records.metered_flow import metered_flow
from service.records.plans import PublishedPlan
from service.waterworks.block_layout import BlockLayout
from service.waterworks.flow_check import FlowVerdict
from tests.api.invented_farm import BLOCK_ID, FARM_ID, FIRST_DAY, PLAN_DAY, TODAY
from tests.operations.metered_runs import store_runs

LEVEL = 0.93  # metered over design, of most seasons here
PIPES = BlockLayout(lateral_diameter_mm=20.0, emitter_count=20, supply_head_m=7.0)


def block_of(service: Service) -> BlockDefinition:
    with service.unit_of_work(write=False) as unit:
        return unit.blocks.get_block(BLOCK_ID, day=TODAY)


def plan_of(service: Service) -> PublishedPlan:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(BLOCK_ID, day=PLAN_DAY)
    assert plan is not None
    return plan


def store_season(service: Service, level: float, *, count: int = 30, fall_at: int = 99) -> None:
    """An hour on each of the days before today, invented, with the noise of a meter."""
    place = np.arange(count)
    noise = 1.0 + 0.02 * np.sin(7.0 * place)
    fallen = np.where(place < fall_at, 1.0, 0.7)
    volume_l = block_of(service).flow_l_per_h * level * noise * fallen
    days = [TODAY - timedelta(days=count - each) for each in range(count)]
    store_runs(service.unit_of_work, BLOCK_ID, days, volume_l.tolist())


def offer(service: Service) -> RateOffer:
    return get_rate_offer(BLOCK_ID, unit_of_work=service.unit_of_work, clock=service.clock)


def accept(service: Service, flow_l_per_h: float | None = None) -> tuple[RateOffer, int]:
    with service.unit_of_work(write=True) as unit:
        return use_rate(unit, BLOCK_ID, flow_l_per_h, replanning=service.replanning)


def test_a_rate_is_offered_and_nothing_changes_by_itself(own_service: Service) -> None:
    before = block_of(own_service)
    store_season(own_service, LEVEL)
    found = offer(own_service)
    assert found.rate.run_count == 20
    assert found.offered_l_per_h == pytest.approx(LEVEL * before.emitter_flow_l_per_h, rel=0.01)
    assert (found.first_day, found.last_day) == (
        TODAY - timedelta(days=20), TODAY - timedelta(days=1),
    )  # fmt: skip
    assert block_of(own_service) == before


@pytest.mark.parametrize(
    ("level", "count", "fall_at", "reason"),
    [
        (LEVEL, 4, 99, TOO_FEW),
        (1.01, 30, 99, WITHIN_SPREAD),
        (1.0, 30, 15, CHANGED_FIRST),
        # 8,244.6 L/h by design, a supply of 40 gpm or 9,084.98 L/h; by hand.
        (1.15, 30, 99, BEYOND_SUPPLY),
    ],
)
def test_a_rate_is_not_offered_without_its_reason(
    own_service: Service, level: float, count: int, fall_at: int, reason: str
) -> None:
    store_season(own_service, level, count=count, fall_at=fall_at)
    found = offer(own_service)
    assert (found.is_offered, found.reason) == (False, reason)
    with pytest.raises(Conflict):
        accept(own_service)


def test_an_accepted_rate_is_what_the_plans_count_with_and_says_where_it_is_from(
    own_service: Service,
) -> None:
    store_season(own_service, LEVEL)
    before, plan = block_of(own_service), plan_of(own_service)
    offered = offer(own_service).offered_l_per_h
    left, new_plan_count = accept(own_service, offered)
    after = block_of(own_service)
    assert after.emitter_flow_l_per_h == offered
    origin = after.origins["emitter_flow_l_per_h"]
    assert f"{before.emitter_flow_l_per_h!r} L/h before {TODAY}" in origin
    learned = metered_flow(after)
    assert learned is not None and str(learned) == origin
    assert learned.stated_l_per_h == before.emitter_flow_l_per_h
    assert new_plan_count >= 1
    # The same need in more minutes, by the ratio of the rates; a pulse has whole minutes.
    assert plan_of(own_service).planned_min == pytest.approx(plan.planned_min / LEVEL, abs=4)
    assert (left.is_offered, left.reason) == (False, WITHIN_SPREAD)


def test_accepting_twice_changes_nothing_and_another_number_is_refused(
    own_service: Service,
) -> None:
    store_season(own_service, LEVEL)
    offered = offer(own_service).offered_l_per_h
    assert offered is not None
    with pytest.raises(Conflict) as refused:
        accept(own_service, offered + 0.1)
    assert f"{offered:g} L/h" in refused.value.faults[0].allowed
    accept(own_service, offered)
    before = block_of(own_service)
    assert accept(own_service, offered)[1] == 0
    assert block_of(own_service) == before


def test_an_accepted_rate_is_no_fall_of_the_flow(own_service: Service) -> None:
    """Runs before it are compared with it too: nothing changed in the field on that day."""
    store_season(own_service, LEVEL)
    accept(own_service)
    report = check_flow(
        BLOCK_ID, first_day=FIRST_DAY, last_day=TODAY, unit_of_work=own_service.unit_of_work
    )
    assert report.verdict is FlowVerdict.STEADY
    np.testing.assert_allclose(report.check.ratio, 1.0, atol=0.03)


def test_new_emitters_end_what_was_learned(own_service: Service) -> None:
    store_season(own_service, LEVEL)
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    load_bundle(
        replace(bundle, blocks=(replace(north, emitter_flow_l_per_h=1.2), south)),
        effective_day=TODAY - timedelta(days=3),
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert offer(own_service).reason == TOO_FEW


@pytest.mark.parametrize("is_changed", [False, True])
def test_loading_the_farm_again_keeps_an_accepted_rate_unless_the_file_states_another(
    own_service: Service, is_changed: bool
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    store_season(own_service, LEVEL)
    accept(own_service)
    accepted = block_of(own_service).emitter_flow_l_per_h
    if is_changed:
        north, south = bundle.blocks
        bundle = replace(bundle, blocks=(replace(north, emitter_flow_l_per_h=1.2), south))
    load_bundle(
        bundle,
        effective_day=TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    assert block_of(own_service).emitter_flow_l_per_h == (1.2 if is_changed else accepted)


def test_pipes_are_solved_for_the_emitters_as_made_and_flows_counted_by_the_meter(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    load_bundle(
        replace(bundle, blocks=(replace(north, layout=PIPES), south)),
        effective_day=FIRST_DAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
    )
    store_season(own_service, 0.82)
    before = solve_definition(block_of(own_service))
    accept(own_service)
    after = block_of(own_service)
    assert solve_definition(after).block.inlet_flow_l_per_h == before.block.inlet_flow_l_per_h
    flow_l_per_h, origin = expected_flow_l_per_h(after)
    assert flow_l_per_h == pytest.approx(after.flow_l_per_h)
    assert "meter" in origin
