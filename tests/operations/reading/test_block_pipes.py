"""A block's pipes, solved from what is stored: what it takes, how long that is on its way."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import InputInvalid, NotFound
from service.operations.farms.manage_farms import load_bundle
from service.operations.reading.block_pipes import (
    design_uniformity_pct,
    expected_flow_l_per_h,
    solve_definition,
    solve_stored,
    travel_times_min,
)
from service.records.farms import BlockDefinition
from service.waterworks.block_layout import BlockLayout
from tests.api.invented_farm import BLOCK_ID, FARM_ID, TODAY
from tests.factories import make_block

EMITTER_COUNT = 100


def piped(block: BlockDefinition | None = None, **changes: Any) -> BlockDefinition:
    """An ordinary block with one row of 100 emitters on a drip line of 16 mm, under 12 m of water.

    ``changes`` are fields of the layout.
    """
    facts: dict[str, Any] = {
        "lateral_diameter_mm": 16.0,
        "emitter_count": EMITTER_COUNT,
        "supply_head_m": 12.0,
        **changes,
    }
    return replace(block or make_block(), layout=BlockLayout(**facts))


def store_piped(service: Service, **changes: Any) -> None:
    """Give the stored north block these pipes, from today on."""
    with service.unit_of_work(write=False) as unit:
        bundle = unit.blocks.get_bundle(FARM_ID, day=TODAY)
    north, south = bundle.blocks
    load_bundle(
        replace(bundle, blocks=(piped(north, **changes), south)),
        effective_day=TODAY,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )


def test_a_stored_block_is_solved_as_its_definition_is(own_service: Service) -> None:
    store_piped(own_service)
    with own_service.unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(BLOCK_ID, day=TODAY)
    found = solve_stored(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    expected = solve_definition(block)
    assert found.name == BLOCK_ID
    assert found.longest == expected.longest
    np.testing.assert_array_equal(found.row.emitter_flow_l_per_h, expected.row.emitter_flow_l_per_h)
    assert found.block.design_uniformity_pct == design_uniformity_pct(block)


def test_pipes_that_nobody_described_are_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"\[block\.hydraulics\]"):
        solve_stored(BLOCK_ID, on=TODAY, unit_of_work=own_service.unit_of_work)
    for ask in (solve_definition, design_uniformity_pct, travel_times_min):
        with pytest.raises(NotFound, match=r"brook\.north"):
            ask(make_block())


def test_the_pipes_count_from_the_day_on_which_they_were_described(own_service: Service) -> None:
    store_piped(own_service)
    before = TODAY - timedelta(days=1)
    with pytest.raises(NotFound, match="not described"):
        solve_stored(BLOCK_ID, on=before, unit_of_work=own_service.unit_of_work)


def test_emitters_at_their_nominal_pressure_give_what_is_stated_and_with_less_half() -> None:
    stated = expected_flow_l_per_h(make_block())
    # 4000 m2 in rows of 3 m with two lines of emitters every 0.46 m, 2 L/h each; by hand.
    assert stated[0] == pytest.approx(4000.0 / (3.0 * 0.46) * 2.0 * 2.0)
    # Drip lines so wide that friction takes next to nothing.
    full, quarter = (
        expected_flow_l_per_h(piped(supply_head_m=head_m, lateral_diameter_mm=60.0))
        for head_m in (10.0, 2.5)
    )
    assert full[0] == pytest.approx(stated[0], rel=0.001)
    assert quarter[0] == pytest.approx(stated[0] / 2.0, rel=0.001)  # exponent 0.5
    assert (stated[1], full[1]) == (
        "emitter flow as stated, times the emitters of the area",
        "the block's pipes and pressure",
    )


def test_a_longer_row_takes_the_water_longer() -> None:
    fill_min, travel_min = travel_times_min(piped())
    assert fill_min > travel_min > 0.0
    longer = travel_times_min(piped(emitter_count=2 * EMITTER_COUNT))
    assert longer[1] > travel_min


def test_a_row_that_climbs_above_its_pressure_is_reported_as_dry() -> None:
    steep = piped(supply_head_m=4.0, row_profile=((0.0, 0.0), (46.0, 6.0)))
    report = solve_definition(steep)
    dry_count = report.block.dry_emitter_count
    assert 0 < dry_count < EMITTER_COUNT
    assert report.cautions[0].startswith(f"Water does not reach {dry_count} emitters")
    with pytest.raises(InputInvalid) as refused:
        travel_times_min(steep)
    (fault,) = refused.value.faults
    assert (fault.where, fault.allowed) == ("hydraulics", "pressure that reaches all of them")
    assert fault.found.startswith("Water does not reach")
    assert solve_definition(piped()).cautions == ()


def test_a_row_may_be_longer_where_less_evenness_is_asked_for() -> None:
    strict, loose = (
        solve_definition(piped(), target_uniformity_pct=target).longest for target in (92.0, 80.0)
    )
    assert strict.emitter_count < loose.emitter_count


def test_a_regulator_that_gets_too_little_is_reported() -> None:
    weak = piped(supply_head_m=8.0, regulator_set_head_m=10.0)
    report = solve_definition(weak)
    assert report.findings
    assert report.cautions[0].startswith("The pressure regulator is out of its range")
