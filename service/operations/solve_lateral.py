"""What a block's pipes give: pressures and flows of every emitter, uniformity, times, a field test.

The pipes come from the block's farm file or from a file of their own; the field test is stored, and
the plan uses its uniformity once somebody turns that on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from service.errors import Fault, InputInvalid, NotFound
from service.operations.publish_programs import PLANS_TOPIC
from service.operations.read_farms import local_day
from service.ports import Clock, UnitOfWork, UnitOfWorkFactory
from service.records import BlockDefinition, CatchTest, LoadOutcome
from service.waterworks.block_hydraulics import (
    Block,
    BlockFlow,
    RegulatorFinding,
    solve_block,
    solve_regulated_block,
)
from service.waterworks.block_layout import BlockLayout, block_of, lateral_of, regulator_of
from service.waterworks.lateral import (
    Lateral,
    LateralFlow,
    LongestRow,
    longest_row,
    solve_lateral,
)
from service.waterworks.travel_time import BlockTravel, block_travel
from service.waterworks.uniformity import FieldUniformity, field_uniformity

TARGET_UNIFORMITY_PCT = 90.0
"""EU that a row's length is looked for unless somebody asks otherwise; EP405, from memory."""
LOWEST_PLAN_UNIFORMITY_PCT = 40.0
"""What a plan can use at least; a field below it must be mended, not watered longer."""
ONE_DAY = timedelta(days=1)
KEPT_ROWS = 512
CATCH_TEST_SEED = 20_260_401
CATCH_TEST_ORIGIN = "catch test of"


@dataclass(frozen=True, slots=True)
class PipeReport:
    """A block's pipes, solved."""

    name: str
    layout: BlockLayout
    emitter_spacing_m: float
    block: BlockFlow
    """All rows."""
    row: LateralFlow
    """The row that gets least, seen from its own inlet."""
    findings: tuple[RegulatorFinding, ...]
    longest: LongestRow
    target_uniformity_pct: float
    travel: BlockTravel
    cautions: tuple[str, ...]
    """What is wrong, in words; empty where nothing is."""


@dataclass(frozen=True, slots=True)
class CatchReport:
    """A field test and what it says."""

    test: CatchTest
    uniformity: FieldUniformity
    plan_uniformity_pct: float
    """What the plan uses now."""
    plan_origin: str


def solve_layout(
    name: str,
    layout: BlockLayout,
    *,
    emitter_flow_l_per_h: float,
    emitter_spacing_m: float,
    target_uniformity_pct: float = TARGET_UNIFORMITY_PCT,
) -> PipeReport:
    """Solve the pipes; raises InputInvalid for some that cannot be built."""
    block, flow, findings = _solved(layout, emitter_flow_l_per_h, emitter_spacing_m)
    sides = block.laterals_per_takeoff_count
    worst = int(np.argmin(flow.takeoff_head_m))
    row_head_m = float(flow.takeoff_head_m[worst])
    lateral = lateral_of(layout, emitter_flow_l_per_h, emitter_spacing_m)
    row = solve_lateral(lateral, row_head_m)
    longest = _longest_row(lateral, row_head_m, target_uniformity_pct)
    travel = block_travel(block, flow)
    return PipeReport(
        name=name,
        layout=layout,
        emitter_spacing_m=emitter_spacing_m,
        block=flow,
        row=row,
        findings=findings,
        longest=longest,
        target_uniformity_pct=target_uniformity_pct,
        travel=travel,
        cautions=tuple(_cautions(flow, row, findings, worst=worst, sides=sides)),
    )


def _solved(
    layout: BlockLayout, emitter_flow_l_per_h: float, emitter_spacing_m: float
) -> tuple[Block, BlockFlow, tuple[RegulatorFinding, ...]]:
    block = block_of(layout, emitter_flow_l_per_h, emitter_spacing_m)
    regulator = regulator_of(layout)
    if regulator is None:
        return block, solve_block(block, layout.supply_head_m), ()
    regulated = solve_regulated_block(block, regulator, layout.supply_head_m)
    return block, regulated.flow, regulated.findings


@lru_cache(maxsize=KEPT_ROWS)
def _longest_row(lateral: Lateral, head_m: float, target_uniformity_pct: float) -> LongestRow:
    """Every length is tried, which takes a tenth of a second: kept for the next look."""
    return longest_row(lateral, head_m, target_uniformity_pct)


def solve_stored(
    block_id: str,
    *,
    on: date,
    target_uniformity_pct: float = TARGET_UNIFORMITY_PCT,
    unit_of_work: UnitOfWorkFactory,
) -> PipeReport:
    """The pipes of a stored block; raises NotFound where they are not described."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    return solve_definition(block, target_uniformity_pct=target_uniformity_pct)


def solve_definition(
    block: BlockDefinition, *, target_uniformity_pct: float = TARGET_UNIFORMITY_PCT
) -> PipeReport:
    """The pipes of a block; raises NotFound where they are not described."""
    return solve_layout(
        block.block_id,
        _layout(block),
        emitter_flow_l_per_h=block.emitter_flow_l_per_h,
        emitter_spacing_m=block.emitter_spacing_m,
        target_uniformity_pct=target_uniformity_pct,
    )


def design_uniformity_pct(block: BlockDefinition) -> float:
    """Emission uniformity of a block's pipes; raises NotFound where they are not described."""
    flow = _solved(_layout(block), block.emitter_flow_l_per_h, block.emitter_spacing_m)[1]
    return flow.design_uniformity_pct


def _layout(block: BlockDefinition) -> BlockLayout:
    if block.layout is None:
        raise NotFound(
            f"the pipes of block {block.block_id} are not described; a table [block.hydraulics] in"
            " its farm file does that, examples/farm-template.toml shows one"
        )
    return block.layout


def travel_times_min(block: BlockDefinition) -> tuple[float, float]:
    """Minutes until a block is full and even, and from its inlet to its last emitter."""
    pipes, flow, _ = _solved(_layout(block), block.emitter_flow_l_per_h, block.emitter_spacing_m)
    if flow.dry_emitter_count:
        cautions = "; ".join(solve_definition(block).cautions)
        raise InputInvalid(
            f"water does not reach every emitter of block {block.block_id}",
            [Fault("hydraulics", cautions, "pressure that reaches all of them")],
        )
    travel = block_travel(pipes, flow)
    return travel.fill_time_min + travel.last_travel_min, travel.last_travel_min


def expected_flow_l_per_h(block: BlockDefinition) -> tuple[float, str]:
    """Flow that a block should take, and where that figure comes from."""
    if block.layout is not None:
        flow = _solved(block.layout, block.emitter_flow_l_per_h, block.emitter_spacing_m)[1]
        per_row = block.layout.emitter_count * block.emitter_flow_l_per_h
        share = flow.inlet_flow_l_per_h / (flow.lateral_flow_l_per_h.size * per_row)
        return share * _nominal_flow_l_per_h(block), "the block's pipes and pressure"
    return _nominal_flow_l_per_h(block), "emitter flow as stated, times the emitters of the area"


def _nominal_flow_l_per_h(block: BlockDefinition) -> float:
    emitters = block.area_m2 / (block.row_spacing_m * block.emitter_spacing_m)
    return emitters * block.laterals_per_row_count * block.emitter_flow_l_per_h


def _cautions(
    flow: BlockFlow,
    row: LateralFlow,
    findings: Sequence[RegulatorFinding],
    *,
    worst: int,
    sides: int,
) -> list[str]:
    found = []
    if flow.dry_emitter_count:
        reached = flow.reached_emitter_count
        first = int(np.argmin(reached))
        found.append(
            f"Water does not reach {flow.dry_emitter_count} emitters: on the row at take-off"
            f" {first // sides + 1} nothing flows from emitter {int(reached[first]) + 1} on. The"
            " pressure is too low for the rise and the friction; look for a closed valve, a"
            " regulator set too low, a row that is too long or a line that is too thin."
        )
    elif row.first_dry_emitter is not None:
        found.append(f"Nothing flows from emitter {row.first_dry_emitter} of the worst row on.")
    found += [f"The pressure regulator is out of its range: {each.value}." for each in findings]
    if flow.outside_range_count:
        found.append(
            f"{flow.outside_range_count} emitters work outside of the pressure range in which they"
            " compensate."
        )
    return found


# --- field test ----------------------------------------------------------------------------------


def record_catch_test(
    block_id: str,
    day: date,
    caught_ml: Sequence[float],
    *,
    is_used: bool,
    effective_day: date,
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> tuple[CatchReport, LoadOutcome]:
    """Store a field test; with ``is_used`` the plan counts with its uniformity from a day on.

    The same test again changes nothing. Raises InputInvalid for fewer than 16 volumes, for a day to
    come, and for a field so uneven that no plan should cover it up.
    """
    uniformity = field_uniformity(caught_ml, seed=CATCH_TEST_SEED)
    refuse_coming_day("the field test cannot be used", day, clock=clock)
    with unit_of_work(write=True) as unit:
        block = unit.blocks.get_block(block_id, day=effective_day)
        block_key = unit.blocks.get_block_key(block_id)
        test = CatchTest(
            block_id=block.block_id, day=day, caught_ml=tuple(float(each) for each in caught_ml)
        )
        outcome = unit.waterworks.save_catch_test(block_key, test, recorded_at=clock.now())
        if is_used:
            if uniformity.emission_uniformity_pct < LOWEST_PLAN_UNIFORMITY_PCT:
                found = f"{uniformity.emission_uniformity_pct:.0f} %"
                allowed = f"{LOWEST_PLAN_UNIFORMITY_PCT:.0f} % or more: clean or mend the lines"
                raise InputInvalid(
                    "the plan cannot use this uniformity",
                    [Fault("uniformity of the test", found, allowed)],
                )
            block = change_number(
                unit,
                block,
                "emission_uniformity_pct",
                round(uniformity.emission_uniformity_pct, 2),
                origin=(
                    f"{CATCH_TEST_ORIGIN} {day.isoformat()}, {uniformity.sample_count} emitters,"
                    f" {uniformity.confidence_pct:.0f} % interval"
                    f" {uniformity.emission_uniformity_low_pct:.0f} to"
                    f" {uniformity.emission_uniformity_high_pct:.0f} %"
                ),
                effective_day=effective_day,
                clock=clock,
            )
    return _catch_report(test, block), outcome


def refuse_coming_day(message: str, day: date, *, clock: Clock) -> None:
    """Raise InputInvalid for a day that has not come anywhere yet: nothing was measured on it.

    What is measured counts by its day, the newest first; a slip of the year would stand above all
    that follows.
    """
    latest = local_day(clock.now(), "UTC") + ONE_DAY
    if day > latest:
        raise InputInvalid(message, [Fault("day", day.isoformat(), f"a day up to {latest}")])


def list_catch_tests(
    block_id: str, *, on: date, unit_of_work: UnitOfWorkFactory
) -> list[CatchReport]:
    """A block's field tests, the newest first."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
        tests = unit.waterworks.list_catch_tests(unit.blocks.get_block_key(block_id))
    return [_catch_report(test, block) for test in tests]


def _catch_report(test: CatchTest, block: BlockDefinition) -> CatchReport:
    return CatchReport(
        test=test,
        uniformity=field_uniformity(test.caught_ml, seed=CATCH_TEST_SEED),
        plan_uniformity_pct=block.emission_uniformity_pct,
        plan_origin=block.origins.get("emission_uniformity_pct", ""),
    )


def change_number(
    unit: UnitOfWork,
    block: BlockDefinition,
    name: str,
    value: float,
    *,
    origin: str,
    effective_day: date,
    clock: Clock,
) -> BlockDefinition:
    """A new version of a block with one number measured instead of assumed."""
    if not math.isfinite(value):
        raise InputInvalid("the block cannot be changed", [Fault(name, f"{value}", "a number")])
    number: dict[str, Any] = {name: value}
    changed = replace(block, **number, origins={**block.origins, name: origin})
    bundle = unit.blocks.get_bundle(block.farm_id, day=effective_day)
    blocks = tuple(changed if each.block_id == block.block_id else each for each in bundle.blocks)
    unit.blocks.save_bundle(
        replace(bundle, blocks=blocks), effective_day=effective_day, recorded_at=clock.now()
    )
    unit.plans.forget_texts(block.farm_id)  # a plan as it is read also tells of its block
    unit.marks.bump(PLANS_TOPIC)
    return changed
