"""Tomorrow's pulses: inside the hours of block and supply, within the flow, after what stands."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from service.bootstrap import Service
from service.database.session import UnitOfWork
from service.operations.evening.gather_weather import GatheredWeather, gather_weather
from service.operations.evening.lay_out_pulses import elapsed_at
from service.operations.farms.manage_farms import load_bundle
from tests.api.invented_farm import (
    BARE_BLOCK_ID,
    BLOCK_ID,
    FARM_ID,
    PLAN_DAY,
    RUN_AT,
    TODAY,
    plan_evening,
)


def gathered(unit: UnitOfWork) -> GatheredWeather:
    return gather_weather(
        unit.weather,
        unit.blocks.read_site_table(),
        on=TODAY,
        now=RUN_AT,
        first_day=TODAY,
        last_day=PLAN_DAY,
        source_order={},
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


def test_pulses_stand_inside_the_windows_of_their_block(own_service: Service) -> None:
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


def test_a_block_that_is_closed_all_day_gets_no_pulse_and_its_neighbour_does(
    own_service: Service,
) -> None:
    change_north(own_service, longest_pulse_min=30.0)
    assert max(length for _, length in pulses_of(own_service, BLOCK_ID)) <= 30
    change_north(own_service, windows=())
    assert pulses_of(own_service, BLOCK_ID) == ()
    assert pulses_of(own_service, BARE_BLOCK_ID)


def test_the_minutes_that_have_passed_are_those_on_the_clock_of_each_site(
    own_service: Service,
) -> None:
    with own_service.unit_of_work(write=False) as unit:
        weather = gathered(unit)
    midnight = datetime(2026, 7, 15, 4, tzinfo=UTC)  # in New York
    assert elapsed_at(None, PLAN_DAY, weather).tolist() == [0, 0]
    for passed, minutes in (
        (timedelta(hours=-3), 0),
        (timedelta(minutes=90), 90),
        (timedelta(minutes=90, seconds=1), 91),  # no pulse starts before it
    ):
        assert elapsed_at(midnight + passed, PLAN_DAY, weather).tolist() == [minutes] * 2
