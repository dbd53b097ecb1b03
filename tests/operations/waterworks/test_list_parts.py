"""The parts of a stored block: from its own numbers, its pipes, its supply and its water."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.reading.block_pipes import expected_flow_l_per_h
from service.operations.waterworks.list_parts import (
    LOW_PRESSURE,
    NO_REPORT,
    ZONE_TOO_LARGE,
    PartsRequest,
    list_parts,
    plan_parts,
    price_parts,
)
from service.operations.waterworks.report_water import record_sample
from service.records.waterworks import WaterSample
from service.waterworks.block_layout import BlockLayout
from service.waterworks.head_filter import FilterKind
from service.waterworks.head_injector import Substance
from service.waterworks.parts_cost import UnitPrice
from service.waterworks.water_analysis import Reading
from tests.api.invented_farm import BARE_BLOCK_ID, FARM_ID, RUN_AT, TODAY, FixedClock


def test_the_newest_analysis_decides_the_filter(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    before = list_parts(BARE_BLOCK_ID, PartsRequest(), on=TODAY, unit_of_work=unit_of_work)
    assert before.sample_day is None and NO_REPORT in before.notes
    assert before.filter.kind is FilterKind.SCREEN
    sample = WaterSample(
        farm_id=FARM_ID,
        supply_id="well",
        day=TODAY,
        laboratory="Invented",
        readings=(Reading("suspended-solids", 150.0, "mg/L"),),
        temperature_c=15.0,
    )
    record_sample(sample, unit_of_work=unit_of_work, clock=FixedClock(RUN_AT))
    found = list_parts(BARE_BLOCK_ID, PartsRequest(), on=TODAY, unit_of_work=unit_of_work)
    assert (found.sample_day, found.filter.kind) == (TODAY, FilterKind.MEDIA)
    assert found.filter.decided_by == ("Suspended solids",)
    assert NO_REPORT not in found.notes
    with pytest.raises(NotFound):
        list_parts("test-farm.none", PartsRequest(), on=TODAY, unit_of_work=unit_of_work)


def test_flow_and_pressure_are_those_of_the_described_pipes(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        bare = unit.blocks.get_block(BARE_BLOCK_ID, day=TODAY)
    layout = BlockLayout(lateral_diameter_mm=16.0, emitter_count=50, supply_head_m=12.0)
    block = replace(bare, layout=layout)
    found = plan_parts(block, 1e6, None, PartsRequest())
    flow, origin = expected_flow_l_per_h(block)
    assert (found.amounts.block_flow_l_per_h, found.flow_origin) == (flow, origin)
    assert found.suction.inlet_head_m == 12.0
    # 12 m do not feed a regulator at 10 m that needs 3.5 more, behind a dirty filter.
    assert LOW_PRESSURE in found.notes
    stated = plan_parts(block, 1e6, None, PartsRequest(inlet_head_m=30.0))
    assert stated.suction.inlet_head_m == 30.0 and LOW_PRESSURE not in stated.notes


def test_a_zone_that_the_supply_cannot_feed_is_said(own_service: Service) -> None:
    with own_service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(BARE_BLOCK_ID, day=TODAY)
    flow, _ = expected_flow_l_per_h(block)
    halves = plan_parts(block, 0.6 * flow, None, PartsRequest())
    assert halves.amounts.zone_count == 2 and ZONE_TOO_LARGE not in halves.notes
    whole = plan_parts(block, 0.6 * flow, None, PartsRequest(zone_count=1))
    assert ZONE_TOO_LARGE in whole.notes


def test_a_substance_named_twice_has_one_injector(own_service: Service) -> None:
    request = PartsRequest(substances=(Substance.ACID, Substance.ACID))
    found = list_parts(BARE_BLOCK_ID, request, on=TODAY, unit_of_work=own_service.unit_of_work)
    assert [part.amount for part in found.parts if part.key == "injector"] == [1]


def test_a_pressure_that_cannot_be_is_refused(own_service: Service) -> None:
    with pytest.raises(InputInvalid, match="cannot be counted"):
        list_parts(
            BARE_BLOCK_ID,
            PartsRequest(inlet_head_m=0.0),
            on=TODAY,
            unit_of_work=own_service.unit_of_work,
        )


def test_a_price_of_no_part_is_refused_unless_it_has_its_own_amount(own_service: Service) -> None:
    unit_of_work = own_service.unit_of_work
    report = list_parts(BARE_BLOCK_ID, PartsRequest(), on=TODAY, unit_of_work=unit_of_work)
    with pytest.raises(InputInvalid, match="prices"):
        price_parts(report, {"labor": UnitPrice(25.0)})
    found = price_parts(report, {"labor": UnitPrice(25.0, 4.0), "submain": UnitPrice(1.0)})
    # The block has no submain: its price costs nothing.
    assert found.cost == 100.0
