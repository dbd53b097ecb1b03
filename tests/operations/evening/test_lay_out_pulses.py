"""Tomorrow's pulses: inside the hours of block and supply, within the flow, after fixed pulses."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from service.agronomy.records import WallWindow
from service.bootstrap import Service
from service.operations.evening.run_day import run_day
from service.operations.farms.manage_farms import load_bundle
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    TODAY,
    bring_weather,
    plan_evening,
)


def pulses_of(service: Service, block_id: str) -> tuple[tuple[int, int], ...]:
    with service.unit_of_work(write=False) as unit:
        plan = unit.plans.find_plan(block_id, day=PLAN_DAY)
    assert plan is not None
    return plan.pulses


def change_north(service: Service, **changes: Any) -> None:
    """Load the farm with its north block changed, and run the evening again."""
    with service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    load_bundle(
        replace(bundle, blocks=(replace(north, **changes), south)),
        effective_day=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    assert plan_evening(service) == []


def test_pulses_are_inside_the_windows_of_their_block(own_service: Service) -> None:
    windows = ((240, 600), (1020, 1260))  # 04:00-10:00 and 17:00-21:00
    pulses = pulses_of(own_service, BLOCK_ID)
    assert pulses
    for start, length in pulses:
        assert any(opens <= start and start + length <= closes for opens, closes in windows)


def test_blocks_that_take_more_than_their_supply_never_run_together(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    (supply,) = bundle.supplies
    flows = {
        block.block_id: block.area_m2
        * block.laterals_per_row_count
        * block.emitter_flow_l_per_h
        / (block.row_spacing_m * block.emitter_spacing_m)
        for block in bundle.blocks
    }
    assert sum(flows.values()) > supply.flow_l_per_h  # or this would say nothing
    for start, length in pulses_of(own_service, BLOCK_ID):
        for other, other_length in pulses_of(own_service, BARE_BLOCK_ID):
            assert start + length <= other or other + other_length <= start


def test_a_block_of_a_higher_rank_is_served_before_its_neighbour(own_service: Service) -> None:
    def minutes(block_id: str) -> int:
        return sum(length for _, length in pulses_of(own_service, block_id))

    with own_service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    hour = (WallWindow(240, 300),)
    for north_rank, south_rank in ((1.0, 5.0), (5.0, 1.0)):
        north, south = bundle.blocks
        ranked = (
            replace(north, windows=hour, priority=north_rank),
            replace(south, windows=hour, priority=south_rank),
        )
        load_bundle(
            replace(bundle, blocks=ranked),
            effective_day=TODAY,
            unit_of_work=own_service.unit_of_work,
            clock=own_service.clock,
        )
        assert plan_evening(own_service) == []
        first, second = (BLOCK_ID, BARE_BLOCK_ID)[:: 1 if north_rank < south_rank else -1]
        assert minutes(first) > 0
        assert minutes(second) == 0


def test_a_valve_turned_by_hand_is_opened_during_a_visit(own_service: Service) -> None:
    visits = ((480, 510), (1080, 1110))
    change_north(
        own_service,
        windows=(WallWindow(240, 1260),),
        visits=tuple(WallWindow(comes, leaves) for comes, leaves in visits),
        daily_pulse_count=2.0,
    )
    pulses = pulses_of(own_service, BLOCK_ID)
    assert 1 <= len(pulses) <= 2
    for start, _ in pulses:
        assert any(comes <= start <= leaves for comes, leaves in visits)


def test_a_block_that_is_closed_all_day_gets_no_pulse_and_its_neighbour_does(
    own_service: Service,
) -> None:
    change_north(own_service, longest_pulse_min=30.0)
    assert max(length for _, length in pulses_of(own_service, BLOCK_ID)) <= 30
    change_north(own_service, windows=())
    assert pulses_of(own_service, BLOCK_ID) == ()
    assert pulses_of(own_service, BARE_BLOCK_ID)


def test_a_plan_that_is_late_has_no_pulse_before_the_minute_it_may_begin(
    own_service: Service,
) -> None:
    # Half a minute past seven in New York: the plan may begin at 07:01.
    late = datetime(2026, 7, 15, 11, 0, 30, tzinfo=UTC)
    begun = {pulse for pulse in pulses_of(own_service, BLOCK_ID) if pulse[0] < 421}
    bring_weather(own_service, warmer_c=8.0)
    run = run_day(
        TODAY,
        unit_of_work=own_service.unit_of_work,
        clock=own_service.clock,
        source_order=own_service.source_order,
        earliest_start=late,
    )
    assert run.failures == []
    # What the plan before had begun by then is under way or over.
    rest = [pulse for pulse in pulses_of(own_service, BLOCK_ID) if pulse not in begun]
    assert rest
    assert all(start >= 421 for start, _ in rest)
