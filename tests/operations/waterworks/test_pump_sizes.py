"""Smaller and larger pumps, and the block that sets the smallest."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.operations.waterworks.peak_needs import PeakRow
from service.operations.waterworks.pump_sizes import (
    LargestBlock,
    block_cautions,
    flow_words,
    largest_block,
    pump_changes,
)
from service.records.farms import FarmBundle, FarmDefinition
from tests.factories import make_block, make_supply

SMALL, LARGE = make_block("small", area_m2=2_000.0), make_block("large", area_m2=6_000.0)


def farm(flow_l_per_h: float) -> FarmBundle:
    supply = make_supply(flow_l_per_h=flow_l_per_h)
    return FarmBundle(
        farm=FarmDefinition(farm_id="hill-farm", name="Hill", zone="UTC", unit_system="si"),
        sites=(),
        supplies=(supply,),
        blocks=(SMALL, LARGE),
    )


def peak(needed_l_per_h: float) -> PeakRow:
    return PeakRow(7, 0.9, 30.0, 33.0, needed_l_per_h, 1.0)


def test_the_largest_block_is_the_one_with_the_largest_flow() -> None:
    found = largest_block(farm(1e5))
    assert found.block_id == LARGE.block_id
    emitters = LARGE.area_m2 / (LARGE.row_spacing_m * LARGE.emitter_spacing_m)
    expected = emitters * LARGE.laterals_per_row_count * LARGE.emitter_flow_l_per_h
    assert found.flow_l_per_h == pytest.approx(expected)


def test_smaller_pumps_are_tried_where_they_can_run_every_block() -> None:
    most = largest_block(farm(1e5)).flow_l_per_h
    bundle = farm(1.6 * most)
    changes = pump_changes(bundle, bundle.supplies[0])
    found = {name: (changed, reason) for name, _, changed, reason in changes}
    assert list(found) == ["pump-0.5", "pump-0.75", "pump-1.25", "pump-1.5", "pump-2"]
    reason = found["pump-0.5"][1]
    assert "alone takes" in reason and LARGE.block_id in reason
    changed, reason = found["pump-0.75"]
    assert reason == ""
    assert changed.supplies[0].flow_l_per_h == pytest.approx(1.2 * most)


def test_a_block_that_takes_more_than_all_need_is_named() -> None:
    # 3.07 L/s needed, one block takes 10.1: the case that was silent.
    (text,) = block_cautions(
        farm(1e5), "well", LargestBlock("hill-farm.big", 36_360.0), [peak(11_052.0)]
    )
    assert "at most 3.07 L/s" in text and "alone takes 10.10 L/s" in text
    small = LargestBlock("hill-farm.big", 10_000.0)
    assert block_cautions(farm(1e5), "well", small, [peak(11_052.0)]) == []


def test_a_farm_in_us_units_reads_gallons_a_minute() -> None:
    # 3.07 L/s are 48.7 gal/min.
    bundle = farm(1e5)
    assert bundle.farm is not None
    us = replace(bundle, farm=replace(bundle.farm, unit_system="us"))
    assert flow_words(11_052.0, us) == "48.7 gal/min"
    assert flow_words(11_052.0, bundle) == "3.07 L/s"
