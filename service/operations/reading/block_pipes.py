"""A block's pipes, solved: pressures and flows of every emitter, uniformity, travel and fill times.

The pipes come from the block's farm file or from a layout file of their own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

import numpy as np

from service.database.session import UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.records.farms import BlockDefinition
from service.records.metered_flow import metered_flow, stated_emitter_flow_l_per_h
from service.waterworks.block_hydraulics import (
    Block,
    BlockFlow,
    RegulatorFinding,
    solve_block,
    solve_regulated_block,
)
from service.waterworks.block_layout import BlockLayout, block_of, lateral_of, regulator_of
from service.waterworks.flushing import FlushNeed, flush_need
from service.waterworks.lateral import Lateral, LateralFlow, LongestRow, longest_row, solve_lateral
from service.waterworks.travel_time import BlockTravel, block_travel

TARGET_UNIFORMITY_PCT = 90.0
"""Target EU for the longest row unless the caller asks for another; EP405, from memory."""
KEPT_ROWS = 512


@dataclass(frozen=True, slots=True)
class PipeReport:
    """A block's pipes, solved."""

    name: str
    layout: BlockLayout
    emitter_spacing_m: float
    block: BlockFlow
    """All rows."""
    row: LateralFlow
    """The row that gets the least water, seen from its own inlet."""
    findings: tuple[RegulatorFinding, ...]
    longest: LongestRow
    target_uniformity_pct: float
    travel: BlockTravel
    cautions: tuple[str, ...]
    """What is wrong, in words; empty where nothing is."""
    counted_flow_l_per_h: float | None = None
    """Flow that acid, fertiliser and the flow check count with; None for a line of its own."""
    counted_flow_origin: str = ""
    flush: FlushNeed | None = None
    """Of one drip line with its end open, and of the rows that the pipes' own flow flushes."""


def solve_layout(
    name: str,
    layout: BlockLayout,
    *,
    emitter_flow_l_per_h: float,
    emitter_spacing_m: float,
    target_uniformity_pct: float = TARGET_UNIFORMITY_PCT,
) -> PipeReport:
    """Solve the pipes; raises InputInvalid for pipes that cannot be built."""
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
        flush=_flush(layout, row, flow),
    )


def _flush(layout: BlockLayout, row: LateralFlow, flow: BlockFlow) -> FlushNeed | None:
    """None where no water comes in."""
    if not flow.inlet_flow_l_per_h > 0.0:
        return None
    emitters_l_per_h = float(np.sum(row.emitter_flow_l_per_h))
    return flush_need(layout.lateral_diameter_mm, emitters_l_per_h, flow.inlet_flow_l_per_h)


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
    """Trying every length takes a tenth of a second, so the result is cached."""
    return longest_row(lateral, head_m, target_uniformity_pct)


def solve_stored(
    block_id: str,
    *,
    on: date,
    target_uniformity_pct: float = TARGET_UNIFORMITY_PCT,
    unit_of_work: UnitOfWorkFactory,
) -> PipeReport:
    """The solved pipes of a stored block; raises NotFound if they are not described."""
    with unit_of_work(write=False) as unit:
        block = unit.blocks.get_block(block_id, day=on)
    return solve_definition(block, target_uniformity_pct=target_uniformity_pct)


def solve_definition(
    block: BlockDefinition, *, target_uniformity_pct: float = TARGET_UNIFORMITY_PCT
) -> PipeReport:
    """The pipes of a block; raises NotFound where they are not described."""
    report = solve_layout(
        block.block_id,
        _layout(block),
        emitter_flow_l_per_h=stated_emitter_flow_l_per_h(block),
        emitter_spacing_m=block.emitter_spacing_m,
        target_uniformity_pct=target_uniformity_pct,
    )
    flow, origin = expected_flow_l_per_h(block)
    return replace(report, counted_flow_l_per_h=flow, counted_flow_origin=origin)


def design_uniformity_pct(block: BlockDefinition) -> float:
    """Emission uniformity of a block's pipes; raises NotFound if they are not described."""
    return _solved_as_made(block, _layout(block))[1].design_uniformity_pct


def _layout(block: BlockDefinition) -> BlockLayout:
    if block.layout is None:
        raise NotFound(
            f"the pipes of block {block.block_id} are not described; a table [block.hydraulics] in"
            " its farm file does that, examples/farm-template.toml shows one"
        )
    return block.layout


def travel_times_min(block: BlockDefinition) -> tuple[float, float]:
    """Minutes until a block is full and delivers evenly, and from its inlet to its last emitter."""
    pipes, flow, _ = _solved_as_made(block, _layout(block))
    if flow.dry_emitter_count:
        cautions = "; ".join(solve_definition(block).cautions)
        raise InputInvalid(
            f"water does not reach every emitter of block {block.block_id}",
            [Fault("hydraulics", cautions, "pressure that reaches all of them")],
        )
    travel = block_travel(pipes, flow)
    return travel.fill_time_min + travel.last_travel_min, travel.last_travel_min


def expected_flow_l_per_h(block: BlockDefinition) -> tuple[float, str]:
    """Expected flow of a block, and where that figure comes from."""
    if metered_flow(block) is not None:
        return _nominal_flow_l_per_h(block), "emitter flow by the meter, times the emitters"
    if block.layout is not None:
        return _of_area(block, block.layout), "the block's pipes and pressure"
    return _nominal_flow_l_per_h(block), "emitter flow as stated, times the emitters of the area"


def at_meter(flow_l_per_h: float, block: BlockDefinition) -> float:
    """What the meter of a block shows where its emitters take this flow."""
    leakage = 0.0 if math.isnan(block.leakage_fraction) else block.leakage_fraction
    return flow_l_per_h / (1.0 - leakage)


def unregulated_flow_l_per_h(block: BlockDefinition) -> float:
    """What a block's intact lines pass at the pressure of the supply, if a regulator fails open.

    Raises NotFound where its pipes are not described.
    """
    return _of_area(block, replace(_layout(block), regulator_set_head_m=None))


def _of_area(block: BlockDefinition, layout: BlockLayout) -> float:
    """Flow of the whole area: of each of its emitters, the mean of those of the pipes."""
    flow = _solved_as_made(block, layout)[1]
    count = flow.lateral_flow_l_per_h.size * layout.emitter_count
    mean_l_per_h = flow.inlet_flow_l_per_h / count
    return mean_l_per_h / block.emitter_flow_l_per_h * _nominal_flow_l_per_h(block)


def _solved_as_made(
    block: BlockDefinition, layout: BlockLayout
) -> tuple[Block, BlockFlow, tuple[RegulatorFinding, ...]]:
    """The pipes with the emitters as they are made: a learned flow has their pressures in it."""
    return _solved(layout, stated_emitter_flow_l_per_h(block), block.emitter_spacing_m)


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
