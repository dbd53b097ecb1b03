"""A block in metres and pieces, its filter, its injector, its order and its cost.

Check values are common practice, no source, unless a line says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from service.errors import InputInvalid
from service.unit_sizes import L_PER_GALLON, L_PER_H_PER_GPM, M2_PER_ACRE, M_PER_FOOT
from service.waterworks.block_layout import BlockLayout
from service.waterworks.head_checks import checklists, head_cautions
from service.waterworks.head_filter import FilterKind, WaterOrigin, choose_filter
from service.waterworks.head_injector import (
    Substance,
    bucket_l,
    injection_place,
    suction_pressure,
)
from service.waterworks.head_order import head_order
from service.waterworks.parts_cost import UnitPrice, parts_cost
from service.waterworks.parts_list import PartUnit, PlannedHead, part_keys, part_of, parts_list
from service.waterworks.pipe_amounts import (
    ASSUMED_ALIKE,
    ASSUMED_ONE_LINE,
    ASSUMED_PRESSURE,
    ASSUMED_SQUARE,
    ASSUMED_ZONES,
    DripBlock,
    pipe_amounts,
    regulator_range,
)
from service.waterworks.water_analysis import WaterAnalysis
from service.waterworks.water_report import Grade, clogging_classes

HALF_GPH = 0.5 * L_PER_GALLON
ACRE = DripBlock(
    area_m2=M2_PER_ACRE,
    row_spacing_m=10.0 * M_PER_FOOT,
    emitter_spacing_m=1.5 * M_PER_FOOT,
    laterals_per_row_count=1.0,
    emitter_flow_l_per_h=HALF_GPH,
    block_flow_l_per_h=2904.0 * HALF_GPH,
    supply_flow_l_per_h=40.0 * L_PER_H_PER_GPM,
)
LAYOUT = BlockLayout(
    lateral_diameter_mm=16.0,
    emitter_count=200,
    supply_head_m=30.0,
    manifold_diameter_mm=51.0,
    takeoff_count=15,
    takeoff_spacing_m=10.0 * M_PER_FOOT,
)


def head_of(block: DripBlock, *substances: Substance) -> PlannedHead:
    amounts = pipe_amounts(block)
    flow = amounts.zone_flow_l_per_h
    return PlannedHead(
        amounts=amounts,
        filter=choose_filter(
            (), WaterOrigin.WELL, emitter_flow_l_per_h=HALF_GPH, flow_l_per_h=flow
        ),
        regulator=regulator_range(block.layout, flow),
        places=tuple(injection_place(each) for each in substances),
        bucket_l=bucket_l(flow),
        layout=block.layout,
        emitter_flow_l_per_h=HALF_GPH,
        emitter_spacing_m=block.emitter_spacing_m,
    )


# --- amounts -------------------------------------------------------------------------------------


def test_an_acre_of_ten_foot_rows_has_4356_feet_of_line_and_2904_emitters() -> None:
    found = pipe_amounts(ACRE)
    assert found.lateral_m / M_PER_FOOT == pytest.approx(43_560 / 10)
    assert found.emitter_count == 2904
    # An acre-inch of 27,154 gal through 1,452 gal/h; growers say 17 to 19 hours.
    assert found.acre_inch_time_h == pytest.approx(27_154 / 1452, rel=1e-4)
    assert 17.0 < found.acre_inch_time_h < 19.0


def test_two_lines_to_a_row_are_twice_the_line_and_as_much_header() -> None:
    one = pipe_amounts(ACRE)
    two = pipe_amounts(replace(ACRE, laterals_per_row_count=2.0))
    assert two.lateral_m == pytest.approx(2.0 * one.lateral_m)
    assert two.lateral_count == pytest.approx(2 * one.lateral_count, abs=1)
    assert two.header_m == pytest.approx(one.header_m, abs=ACRE.row_spacing_m)


def test_without_pipes_the_block_is_a_square_unless_a_row_was_measured() -> None:
    square = pipe_amounts(ACRE)
    assert square.lateral_length_m == pytest.approx(math.sqrt(M2_PER_ACRE))
    assert square.assumptions == (ASSUMED_SQUARE, ASSUMED_PRESSURE, ASSUMED_ONE_LINE)
    measured = pipe_amounts(replace(ACRE, row_length_m=300.0 * M_PER_FOOT))
    assert measured.lateral_count == 15  # 4,356 / 300 = 14.5
    assert ASSUMED_SQUARE not in measured.assumptions


def test_described_pipes_are_used_and_rows_beyond_them_are_taken_as_alike() -> None:
    # 200 emitters 18 in apart are 300 ft; 4,356 ft are 14.5 of them: 15 take-offs fill the block.
    full = pipe_amounts(replace(ACRE, layout=LAYOUT))
    assert (full.lateral_count, full.assumptions) == (15, ())
    assert full.header_m == pytest.approx(15 * 10.0 * M_PER_FOOT)
    half = pipe_amounts(replace(ACRE, layout=replace(LAYOUT, takeoff_count=7)))
    assert half.assumptions == (ASSUMED_ALIKE,)
    assert half.header_m == full.header_m


def test_zones_are_as_few_as_the_supply_allows_or_as_many_as_stated() -> None:
    # 24.2 gal/min from a supply of 10 gal/min: three zones of 8.07.
    small = replace(ACRE, supply_flow_l_per_h=10.0 * L_PER_H_PER_GPM)
    found = pipe_amounts(small)
    assert found.zone_count == 3
    assert found.zone_flow_l_per_h / L_PER_H_PER_GPM == pytest.approx(24.2 / 3)
    assert ASSUMED_ZONES in found.assumptions
    assert pipe_amounts(replace(small, zone_count=4)).zone_count == 4


@pytest.mark.parametrize("wrong", [replace(ACRE, row_length_m=0.0), replace(ACRE, zone_count=0)])
def test_numbers_that_cannot_be_are_refused(wrong: DripBlock) -> None:
    with pytest.raises(InputInvalid):
        pipe_amounts(wrong)


def test_a_regulator_is_set_as_described_else_by_its_emitters() -> None:
    plain = regulator_range(None, 4000.0)
    assert (plain.set_low_head_m, plain.set_high_head_m) == (10.0, 12.0)
    compensating = replace(LAYOUT, compensates_from_head_m=7.0, compensates_to_head_m=35.0)
    found = regulator_range(compensating, 4000.0)
    assert (found.set_low_head_m, found.set_high_head_m) == (7.0, 35.0)
    own = regulator_range(
        replace(compensating, regulator_set_head_m=14.0, regulator_loss_head_m=5.0), 4000.0
    )
    assert (own.set_low_head_m, own.set_high_head_m, own.least_inlet_head_m) == (14.0, 14.0, 19.0)


# --- filter --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("analysis", "origin", "kind", "grade"),
    [
        (WaterAnalysis(suspended_solids_mg_per_l=20.0), "well", FilterKind.SCREEN, Grade.NONE),
        (WaterAnalysis(suspended_solids_mg_per_l=20.0), "surface", FilterKind.SELF_CLEANING, 1),
        (WaterAnalysis(suspended_solids_mg_per_l=80.0), "well", FilterKind.SELF_CLEANING, 1),
        (WaterAnalysis(iron_mg_per_l=2.0), "well", FilterKind.MEDIA, Grade.SEVERE),
        (WaterAnalysis(bacteria_per_ml=60_000.0), "mains", FilterKind.MEDIA, Grade.SEVERE),
        # Scale is no matter for a filter.
        (WaterAnalysis(ph=8.5, hardness_mg_per_l=400.0), "well", FilterKind.SCREEN, Grade.NONE),
    ],
)
def test_the_water_decides_the_filter(
    analysis: WaterAnalysis, origin: str, kind: FilterKind, grade: int
) -> None:
    found = choose_filter(
        clogging_classes(analysis),
        WaterOrigin(origin),
        emitter_flow_l_per_h=HALF_GPH,
        flow_l_per_h=1000.0,
    )
    assert (found.kind, found.grade) == (kind, grade)
    assert found.is_water_known == (analysis.suspended_solids_mg_per_l is not None)
    assert (found.bed_area_m2 is None) == (kind is FilterKind.SCREEN)


def test_dirtier_water_takes_a_larger_filter_and_small_emitters_a_finer_one() -> None:
    classes = [
        clogging_classes(WaterAnalysis(suspended_solids_mg_per_l=each))
        for each in (20.0, 80.0, 200.0)
    ]
    found = [
        choose_filter(each, WaterOrigin.WELL, emitter_flow_l_per_h=2.0, flow_l_per_h=1000.0)
        for each in classes
    ]
    assert [each.rated_flow_l_per_h for each in found] == [1200.0, 1500.0, 2000.0]
    # 20 and 15 gal/min a square foot, by hand: 1000 L/h are 4.403 gal/min.
    beds = [each.bed_area_m2 / M_PER_FOOT**2 for each in found if each.bed_area_m2 is not None]
    assert beds == pytest.approx([4.403 / 20.0, 4.403 / 15.0], rel=1e-3)
    small = choose_filter((), WaterOrigin.WELL, emitter_flow_l_per_h=1.0, flow_l_per_h=1000.0)
    assert (found[0].mesh, small.mesh) == (150, 200)


# --- injector ------------------------------------------------------------------------------------


def test_acid_enters_behind_the_filter_and_the_rest_before_it() -> None:
    places = {each: injection_place(each).is_before_filter for each in Substance}
    assert places == {
        Substance.FERTILISER: True,
        Substance.CHLORINE: True,
        Substance.ACID: False,
    }


def test_a_suction_injector_works_in_line_exactly_from_its_least_inlet_pressure_on() -> None:
    least = suction_pressure(17.0, None).least_inlet_head_m
    at_least = suction_pressure(17.0, least)
    assert at_least.booster_head_m == pytest.approx(0.0, abs=1e-12)
    assert at_least.needed_difference_head_m == pytest.approx(at_least.free_difference_head_m)
    below = suction_pressure(17.0, least - 2.0)
    # Two metres less are two less free, and a quarter of them less needed.
    assert below.booster_head_m == pytest.approx(1.5)
    with pytest.raises(InputInvalid):
        suction_pressure(17.0, 20.0, loss_ratio=1.0)


def test_a_bucket_holds_the_stock_of_one_zone_and_a_tenth_more() -> None:
    # 24.2 gal/min for half an hour at 1 in 100 are 7.26 gal, by hand.
    flow = 24.2 * L_PER_H_PER_GPM
    assert bucket_l(flow, 30.0, 100.0) / L_PER_GALLON == pytest.approx(1.1 * 7.26)
    with pytest.raises(InputInvalid) as refused:
        bucket_l(flow, 0.0, 0.5)
    assert [fault.where for fault in refused.value.faults] == ["injection_min", "dilution_ratio"]


# --- the list and its order ----------------------------------------------------------------------


def test_the_list_counts_the_head_once_and_the_rest_by_zone_and_line() -> None:
    small = replace(ACRE, supply_flow_l_per_h=10.0 * L_PER_H_PER_GPM, layout=LAYOUT)
    found = {part.key: part for part in parts_list(head_of(small, Substance.FERTILISER))}
    amounts = {key: part.amount for key, part in found.items()}
    assert amounts["filter"] == amounts["backflow-preventer"] == amounts["interlock"] == 1
    assert amounts["zone-valve"] == amounts["pressure-regulator"] == 3
    assert amounts["gauge"] == 2 + 3 and amounts["vacuum-breaker"] == 1 + 3
    assert amounts["take-off"] == amounts["line-flush-end"] == 15
    assert amounts["coupling"] == 5  # 4,356 ft in rolls of 1,000 ft
    assert "submain" not in found
    assert {key for key, part in found.items() if part.unit is PartUnit.LENGTH} == {
        "header",
        "drip-line",
    }
    assert all(part.source and part.name for part in found.values())
    assert set(found) <= set(part_keys())


def test_nothing_injected_is_no_injector_and_no_caution_or_step_about_it() -> None:
    keys = [part.key for part in parts_list(head_of(ACRE))]
    assert not {"injector", "injection-check-valve", "bucket", "interlock"} & set(keys)
    stations = [each.key for each in head_order((), has_submain=False)]
    assert not [key for key in stations if key.startswith("injector")]
    assert "backflow-prevention" not in [each.key for each in head_cautions(())]
    with_one = checklists((Substance.ACID,))
    assert [len(each.steps) for each in checklists(())] == [
        len(each.steps) - 1 for each in with_one
    ]


def test_the_backflow_preventer_is_before_every_injector_and_never_chosen() -> None:
    places = [injection_place(each) for each in Substance]
    stations = [each.key for each in head_order(places, has_submain=True)]
    backflow = stations.index("backflow-preventer")
    injectors = [place for place, key in enumerate(stations) if key.startswith("injector")]
    assert len(injectors) == 3 and min(injectors) > backflow
    behind, before = stations.index("filter"), stations.index("injector-acid")
    assert stations.index("injector-chlorine") < behind < before < stations.index("zone-valve")
    assert stations[behind - 1 : behind + 2] == ["gauge-before", "filter", "gauge-behind"]
    assert "local code" in part_of("backflow-preventer", 1.0).name
    assert "Never chosen here" in part_of("backflow-preventer", 1.0).note


def test_acid_and_chlorine_bring_their_own_cautions() -> None:
    keys = {each.key for each in head_cautions((Substance.CHLORINE,))}
    assert {"never-with-chlorine", "chlorine-no-fertiliser", "backflow-prevention"} <= keys
    assert "never-with-chlorine" in {each.key for each in head_cautions((Substance.ACID,))}


# --- cost ----------------------------------------------------------------------------------------


def test_the_cost_is_amounts_times_prices_and_says_what_it_lacks() -> None:
    parts = parts_list(head_of(ACRE))
    prices = {
        "drip-line": UnitPrice(0.15 / M_PER_FOOT),
        "filter": UnitPrice(300.0, amount=2.0),
        "labor": UnitPrice(25.0, amount=10.0),
    }
    found = parts_cost(parts, prices, area_m2=2.0 * M2_PER_ACRE, budget=10_000.0)
    by_hand = 4356 * 0.15 + 2 * 300.0 + 250.0
    assert found.cost == pytest.approx(by_hand)
    assert found.cost_per_acre == pytest.approx(by_hand / 2.0)
    assert found.cost_per_ha == pytest.approx(by_hand / 2.0 * 2.4710538, rel=1e-6)
    assert found.budget_share_fraction == pytest.approx(by_hand / 10_000.0)
    assert "zone-valve" in found.missing
    assert "drip-line" not in found.missing
    # Emitters come with the line.
    assert "emitters" not in found.missing
    assert [line.key for line in found.lines if line.is_own] == ["labor"]


@pytest.mark.parametrize(
    ("prices", "budget"),
    [({"filter": UnitPrice(-1.0)}, None), ({"filter": UnitPrice(1.0, -2.0)}, None), ({}, 0.0)],
)
def test_prices_below_nothing_are_refused(
    prices: dict[str, UnitPrice], budget: float | None
) -> None:
    with pytest.raises(InputInvalid):
        parts_cost((), prices, area_m2=1.0, budget=budget)
