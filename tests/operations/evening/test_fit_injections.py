"""Injections through the evening run: a supply rescheduled for one, and late orders.

Farm and weather are invented.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine

from service.bootstrap import Service
from service.errors import Conflict
from service.operations.evening.run_day import run_day
from service.operations.evening.turn import ChangeThreshold
from service.operations.reading.planned_injections import PlannedInjection, planned_injection
from service.operations.reading.read_plans import get_plan
from service.operations.waterworks.order_fertigation import (
    FertigationRequest,
    cancel_fertigation,
    order_fertigation,
    refuse_past_day,
)
from service.records.plans import PublishedPlan
from tests.api.invented_farm import (
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    FixedClock,
    bring_weather,
    load,
    plan_evening,
)
from tests.api.paired_controllers import SHED_CONTROLLER, pair

ZONE = "America/New_York"
BLOCKS = ("shared-farm.one", "shared-farm.two", "shared-farm.three")
FLOW_L_PER_H = 3_200.0  # of a block: 2,000 m2 / (2.5 m x 0.5 m) x 2 L/h
SHARED_FARM = """
[farm]
id = "shared-farm"
zone = "America/New_York"

[[site]]
id = "own"
latitude = 35.91
longitude = -79.22
elevation = "510 ft"

[[supply]]
id = "well"
flow = "3.5 m3/h"
windows = ["05:00-21:00"]
""" + "".join(
    f"""
[[block]]
id = "{block_id.partition(".")[2]}"
site = "own"
crop = "grape-wine"
area = "0.2 ha"
row_spacing = "2.5 m"
emitter_spacing = "0.5 m"
emitter_flow = "2 L/h"
soil = {{ texture = "sandy loam" }}
root_depth = "0.6 m"
kc = {{ mid = 0.95 }}
longest_pulse = "400 min"
initial_depletion = "0 mm"
balance_start = 2026-07-14
"""
    for block_id in BLOCKS
)
ORDER = FertigationRequest(
    block_id=BLOCKS[0],
    day=PLAN_DAY,
    product_kg=(("urea", 4.0),),
    stock_l=30.0,
    temperature_c=15.0,
    injector_lowest_l_per_h=1.0,
    injector_highest_l_per_h=120.0,
    travel_min=60.0,
)


@pytest.fixture
def shared(own_service: Service) -> Service:
    """Three blocks on a well that feeds one of them at a time, planned once."""
    load(own_service, SHARED_FARM)
    bring_weather(own_service, site_id="own")
    assert not plan_evening(own_service)
    return own_service


def plan_of(service: Service, block_id: str, day: date = PLAN_DAY) -> PublishedPlan:
    return get_plan(block_id, day=day, unit_of_work=service.unit_of_work).plan


def injection_of(service: Service, block_id: str) -> PlannedInjection:
    found = planned_injection(plan_of(service, block_id))
    assert found is not None
    return found


def order(service: Service, request: FertigationRequest) -> int:
    return order_fertigation(
        request, unit_of_work=service.unit_of_work, replanning=service.replanning
    ).new_version_count


def revise(service: Service) -> int:
    """What the scheduler does after it has fetched weather."""
    run = run_day(
        TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
        earliest_start=service.clock.now(),
        supersedes_from=ChangeThreshold(),
    )
    assert not run.failures
    return run.new_version_count


def store_only(service: Service, request: FertigationRequest) -> None:
    """An order without the replanning that goes with it, as one from an older service."""
    later = request.day + timedelta(days=1)
    order(service, replace(request, day=later))
    with service.unit_of_work(write=True) as unit:
        key = unit.blocks.get_block_key(request.block_id)
        (stored,) = unit.waterworks.list_fertigations(key, first_day=later, last_day=later)
        unit.waterworks.remove_fertigation(key, day=stored.day)
        unit.waterworks.save_fertigation(
            key, replace(stored, day=request.day), recorded_at=service.clock.now()
        )


def test_a_supply_is_rescheduled_for_an_injection_that_no_pulse_of_the_block_can_hold(
    shared: Service,
) -> None:
    before = {block_id: plan_of(shared, block_id) for block_id in BLOCKS}
    assert [len(plan.pulses) for plan in before.values()] == [2, 2, 2]
    # 60 min of travel: 60 to fill, 15 of injection and 90 of flush leave no room in 122 min, and
    # joining the two is in the way of the other blocks, which run between them.
    assert max(length for _, length in before[BLOCKS[0]].pulses) < 165
    order(shared, ORDER)
    after = {block_id: plan_of(shared, block_id) for block_id in BLOCKS}
    shown = injection_of(shared, BLOCKS[0])
    assert shown.is_possible
    assert "planned again" in shown.advisories[0] and shown.cautions
    ((start, length),) = after[BLOCKS[0]].pulses
    assert length == before[BLOCKS[0]].planned_min
    for block_id in BLOCKS[1:]:
        assert after[block_id].pulses != before[block_id].pulses
        assert after[block_id].planned_min >= 0.9 * before[block_id].planned_min
    # Minute by minute: never more than the well gives.
    flow = np.zeros(1440)
    for plan in after.values():
        for begin, minutes in plan.pulses:
            assert 300 <= begin < begin + minutes <= 1260
            flow[begin : begin + minutes] += FLOW_L_PER_H
    assert flow.max() <= 3_500.0
    # Clean until the block is full, flushed for 1.5 travel times, a quarter at each end.
    injection = after[BLOCKS[0]].reasoning.fertigation
    assert injection is not None
    ((opens, closes),) = injection.spans
    assert opens - start >= max(60.0, length / 4.0)
    assert start + length - closes >= max(90.0, length / 4.0)
    # What goes in is what was planned, to 0.1 %: 46.646 % of urea is nitrogen, CO(NH2)2.
    rate = shown.injector_l_per_h
    assert rate is not None
    assert rate * (closes - opens) / 60.0 == pytest.approx(ORDER.stock_l, rel=1e-3)
    assert shown.nutrient_kg["nitrogen"] == pytest.approx(4.0 * 0.46646, rel=1e-3)


def test_cancelling_restores_the_schedule_of_the_supply(shared: Service) -> None:
    before = {block_id: plan_of(shared, block_id) for block_id in BLOCKS}
    order(shared, ORDER)
    count = cancel_fertigation(
        BLOCKS[0], PLAN_DAY, unit_of_work=shared.unit_of_work, replanning=shared.replanning
    )
    assert count == 3
    for block_id, plan in before.items():
        now = plan_of(shared, block_id)
        assert (now.version, now.pulses) == (3, plan.pulses)
        assert planned_injection(now) is None


def test_a_revision_replaces_a_plan_whose_order_alone_has_changed(shared: Service) -> None:
    assert revise(shared) == 0
    store_only(shared, ORDER)
    assert revise(shared) == 3
    assert injection_of(shared, BLOCKS[0]).is_possible
    assert revise(shared) == 0
    store_only(shared, replace(ORDER, product_kg=(("urea", 3.0),)))
    assert revise(shared) == 1  # the others run as they did
    assert injection_of(shared, BLOCKS[0]).products == (("Urea", 3.0),)
    with shared.unit_of_work(write=True) as unit:
        unit.waterworks.remove_fertigation(unit.blocks.get_block_key(BLOCKS[0]), day=PLAN_DAY)
    assert revise(shared) == 3
    assert planned_injection(plan_of(shared, BLOCKS[0])) is None


def test_an_order_that_fits_the_pulses_makes_a_new_version_and_the_same_program(
    own_service: Service,
) -> None:
    pair(own_service, FARM_ID, SHED_CONTROLLER)
    before = plan_of(own_service, BLOCK_ID)
    with own_service.unit_of_work(write=False) as unit:
        keys = unit.controllers.list_keys_in_use(
            np.array([*unit.blocks.farm_keys([FARM_ID]).values()], dtype=np.int64)
        )
        programs = unit.controllers.read_programs(keys)
    small = replace(ORDER, block_id=BLOCK_ID, travel_min=2.0, product_kg=(("urea", 1.0),))
    assert order(own_service, small) == 1
    after = plan_of(own_service, BLOCK_ID)
    assert (after.version, after.pulses) == (before.version + 1, before.pulses)
    assert injection_of(own_service, BLOCK_ID).is_possible
    with own_service.unit_of_work(write=False) as unit:
        assert unit.controllers.read_programs(keys) == programs
    assert order(own_service, small) == 0
    assert plan_of(own_service, BLOCK_ID).version == before.version + 1


def test_a_day_has_begun_by_the_clock_of_the_farm(shared: Service) -> None:
    # 20:30 in New York: at Greenwich it is tomorrow already.
    assert isinstance(shared.clock, FixedClock)
    shared.clock.instant = RUN_AT + timedelta(hours=1, minutes=30)
    assert order(shared, ORDER) == 3
    sources: dict[str, Any] = {"unit_of_work": shared.unit_of_work, "clock": shared.clock}
    refuse_past_day(BLOCKS[0], PLAN_DAY, **sources)
    with pytest.raises(Conflict, match="has begun"):
        refuse_past_day(BLOCKS[0], TODAY, **sources)


def test_an_evening_reads_the_blocks_of_its_orders_at_once(shared: Service) -> None:
    def reads() -> int:
        """Statements that read whole blocks, in an evening."""
        seen: list[str] = []

        def note(*given: Any) -> None:
            seen.append(given[2])

        event.listen(Engine, "before_cursor_execute", note)
        try:
            revise(shared)
        finally:
            event.remove(Engine, "before_cursor_execute", note)
        return sum("latitude_deg" in text and "JOIN supply" in text for text in seen)

    def store_undated(block_id: str) -> None:
        store_only(shared, replace(ORDER, block_id=block_id, last_nitrogen_day=None))

    store_undated(BLOCKS[0])
    assert reads() == 1
    for block_id in BLOCKS[1:]:
        store_undated(block_id)
    assert reads() == 1
    assert all(injection_of(shared, block_id) for block_id in BLOCKS)
