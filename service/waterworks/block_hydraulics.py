"""A block of drip laterals on a manifold: what every emitter of the block gets.

In: a :class:`Block` (manifold, laterals, an optional submain) and the pressure head at its inlet,
or behind a pressure regulator. Out: heads and flows at every take-off and emitter, the block's
flow and its uniformity (:class:`BlockFlow`). The manifold is the second level of
:mod:`service.waterworks.lateral`: it is marched from its far end, and each lateral answers to the
head at its take-off. Emission uniformity: Keller and Karmeli 1974, over all emitters of the block.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from service.errors import Fault, InputInvalid
from service.waterworks.lateral import (
    FLAT,
    Lateral,
    Pipe,
    faults_outside,
    lateral_rows,
    lowest_over_mean,
    pipe_faults,
    profile_faults,
    rise_along_m,
    write_pipe,
)
from service.waterworks.records import Floats, Ints
from service.waterworks.uniformity import design_uniformity_pct, low_quarter_uniformity_pct

if TYPE_CHECKING:
    from service.waterworks.block_kernel import BlockTables


@dataclass(frozen=True, slots=True)
class Manifold:
    """The pipe that feeds the laterals of a block, from its inlet to its closed end."""

    pipe: Pipe
    takeoff_spacing_m: float
    first_segment_m: float | None = None
    """From the inlet to the first take-off; none: one spacing."""
    profile: tuple[tuple[float, float], ...] = FLAT
    """Ground along the manifold as (distance_m, elevation_m); beyond the last point its slope
    goes on.
    """

    @property
    def inlet_segment_m(self) -> float:
        """From the inlet to the first take-off."""
        return self.takeoff_spacing_m if self.first_segment_m is None else self.first_segment_m


@dataclass(frozen=True, slots=True)
class Submain:
    """A pipe without outlets between the block's inlet and its manifold."""

    pipe: Pipe
    length_m: float
    rise_m: float = 0.0
    """Of its end above its start."""


@dataclass(frozen=True, slots=True)
class Block:
    """Laterals on a manifold."""

    manifold: Manifold
    laterals: tuple[Lateral, ...]
    """From the manifold's inlet on; the laterals of one take-off are adjacent."""
    laterals_per_takeoff_count: int = 1
    """2 where rows leave the manifold on both sides."""
    submain: Submain | None = None

    @property
    def takeoff_count(self) -> int:
        """Places at which laterals leave the manifold."""
        return len(self.laterals) // self.laterals_per_takeoff_count


@dataclass(frozen=True, slots=True)
class BlockFlow:
    """A solved block; arrays (takeoffs,), (laterals,) or (laterals, emitters), from the inlet on.

    Emitter arrays are NaN beyond a shorter lateral's last emitter.
    """

    inlet_head_m: float
    inlet_flow_l_per_h: float
    takeoff_head_m: Floats
    lateral_flow_l_per_h: Floats
    emitter_flow_l_per_h: Floats
    emitter_head_m: Floats
    reached_takeoff_count: int
    reached_emitter_count: Ints
    dry_emitter_count: int
    """Emitters of the whole block that water does not reach."""
    outside_range_count: int
    """Emitters with water whose head is outside of the compensating range stated for them."""
    lowest_over_mean_ratio: float
    design_uniformity_pct: float
    """EU over all emitters of the block, with the largest Cv and the fewest per plant."""
    low_quarter_uniformity_pct: float


class RegulatorFinding(enum.StrEnum):
    """How a pressure regulator is outside its working range."""

    PRESSURE_TOO_LOW = "the supply's pressure is below what the regulator needs to hold its setting"
    PRESSURE_TOO_HIGH = "the supply's pressure is above what the regulator is made for"
    FLOW_TOO_LOW = "the block takes less flow than the regulator can control"
    FLOW_TOO_HIGH = "the block takes more flow than the regulator can pass"


@dataclass(frozen=True, slots=True)
class Regulator:
    """A pressure regulator at the block's inlet."""

    set_head_m: float
    """Head that it holds behind it."""
    loss_head_m: float
    """Head that it takes even when it is fully open."""
    lowest_flow_l_per_h: float
    highest_flow_l_per_h: float
    highest_supply_head_m: float = math.inf


@dataclass(frozen=True, slots=True)
class RegulatedBlock:
    """A block behind a regulator, and whether the regulator works in its range."""

    flow: BlockFlow
    outlet_head_m: float
    findings: tuple[RegulatorFinding, ...]
    """Empty where the regulator works in its range."""


def solve_block(block: Block, inlet_head_m: float) -> BlockFlow:
    """Pressure and flow of every emitter of a block.

    Shapes: result arrays (takeoffs,), (laterals,) and (laterals, emitters).
    inlet_head_m: pressure head at the start of the submain, or of the manifold without one [m].
    Returns: a solution for any inlet head; emitters that water does not reach have flow 0. Where
    water just reaches a crest of the laterals, the solution is that of slightly less head.
    Equation: along the manifold h(j-1) = h(j) + J(Q) S + rise, Q = sum of the laterals' inlet flows
    at the heads of their take-offs; solved for the last head.
    Raises: InputInvalid for a block that cannot be built.
    >>> from service.waterworks.lateral import Emitter
    >>> rows = (Lateral(Emitter(2.0), Pipe(16.0), 100, 0.46),) * 20
    >>> solved = solve_block(Block(Manifold(Pipe(51.0), 3.0), rows), 10.0)
    >>> 3900.0 < solved.inlet_flow_l_per_h < 4000.0  # a little below 20 * 198.9
    True
    """
    _check_block(block, inlet_head_m)
    tables = _block_tables(block)
    from service.waterworks.block_kernel import solve_block_rows

    reached = solve_block_rows(tables, inlet_head_m)
    flow = tables.solution[:, 1]
    head = tables.solution[:, 0]
    running = flow[np.isfinite(flow)]
    ratio = lowest_over_mean(running)
    lateral_flow = np.nansum(flow, axis=1)
    return BlockFlow(
        inlet_head_m=inlet_head_m,
        inlet_flow_l_per_h=float(lateral_flow.sum()),
        takeoff_head_m=tables.takeoff_head_m,
        lateral_flow_l_per_h=lateral_flow,
        emitter_flow_l_per_h=flow,
        emitter_head_m=head,
        reached_takeoff_count=int(reached),
        reached_emitter_count=tables.reached_count,
        dry_emitter_count=int(running.size - tables.reached_count.sum()),
        outside_range_count=_outside_range_count(block, head),
        lowest_over_mean_ratio=ratio,
        design_uniformity_pct=float(
            design_uniformity_pct(
                ratio,
                max(line.emitter.manufacturer_variation_ratio for line in block.laterals),
                min(line.emitters_per_plant_count for line in block.laterals),
            )
        ),
        low_quarter_uniformity_pct=(
            float(low_quarter_uniformity_pct(running)) if running.any() else 0.0
        ),
    )


def regulated_head_m(regulator: Regulator, supply_head_m: float) -> float:
    """Head behind a pressure regulator.

    Shapes: numbers.
    supply_head_m: head before the regulator [m].
    Returns: the setting, or what an open regulator leaves of the supply's head, not below 0 [m].
    Equation: min(setting, supply - loss). Common practice, no source.
    >>> regulated_head_m(Regulator(10.0, 3.0, 200.0, 4500.0), 12.0)
    9.0
    """
    return max(0.0, min(regulator.set_head_m, supply_head_m - regulator.loss_head_m))


def solve_regulated_block(
    block: Block, regulator: Regulator, supply_head_m: float
) -> RegulatedBlock:
    """A block behind a pressure regulator, and whether the regulator works in its range.

    Shapes: as :func:`solve_block`.
    supply_head_m: head before the regulator [m].
    Returns: the solved block, the head behind the regulator and everything outside its range.
    Equation: as :func:`solve_block` at :func:`regulated_head_m`.
    Raises: InputInvalid for a block or regulator that cannot be built.
    >>> from service.waterworks.lateral import Emitter
    >>> small = Block(Manifold(Pipe(51.0), 3.0), (Lateral(Emitter(2.0), Pipe(16.0), 10, 0.46),))
    >>> solve_regulated_block(small, Regulator(10.0, 3.0, 200.0, 4500.0), 20.0).findings[0].name
    'FLOW_TOO_LOW'
    """
    faults = faults_outside(
        "regulator",
        {
            "set_head_m": (regulator.set_head_m, 0.1, 200.0),
            "loss_head_m": (regulator.loss_head_m, 0.0, 100.0),
            "lowest_flow_l_per_h": (regulator.lowest_flow_l_per_h, 0.0, math.inf),
            "highest_flow_l_per_h": (
                regulator.highest_flow_l_per_h,
                regulator.lowest_flow_l_per_h,
                math.inf,
            ),
            "highest_supply_head_m": (
                regulator.highest_supply_head_m,
                regulator.set_head_m,
                math.inf,
            ),
        },
    )
    if faults:
        raise InputInvalid("the pressure regulator cannot be used", faults)
    outlet_head_m = regulated_head_m(regulator, supply_head_m)
    solved = solve_block(block, outlet_head_m)
    is_found = {
        RegulatorFinding.PRESSURE_TOO_LOW: outlet_head_m < regulator.set_head_m,
        RegulatorFinding.PRESSURE_TOO_HIGH: supply_head_m > regulator.highest_supply_head_m,
        RegulatorFinding.FLOW_TOO_LOW: solved.inlet_flow_l_per_h < regulator.lowest_flow_l_per_h,
        RegulatorFinding.FLOW_TOO_HIGH: solved.inlet_flow_l_per_h > regulator.highest_flow_l_per_h,
    }
    return RegulatedBlock(
        flow=solved,
        outlet_head_m=outlet_head_m,
        findings=tuple(finding for finding, holds in is_found.items() if holds),
    )


def _check_block(block: Block, inlet_head_m: float) -> None:
    sides = block.laterals_per_takeoff_count
    if sides < 1 or not block.laterals or len(block.laterals) % sides:
        allowed = "one or more, a whole number of them at each take-off"
        found = f"{len(block.laterals)} laterals, {sides} at each take-off"
        raise InputInvalid("the block cannot be built", [Fault("laterals", found, allowed)])
    manifold = block.manifold
    limits = {
        "takeoff_spacing_m": (manifold.takeoff_spacing_m, 0.01, 1000.0),
        "first_segment_m": (manifold.inlet_segment_m, 0.0, 10_000.0),
    }
    faults = faults_outside("manifold", limits)
    faults += pipe_faults(manifold.pipe, "manifold")
    faults += profile_faults(manifold.profile, "manifold")
    if block.submain is not None:
        faults += pipe_faults(block.submain.pipe, "submain")
        faults += faults_outside(
            "submain",
            {
                "length_m": (block.submain.length_m, 0.0, 100_000.0),
                "rise_m": (block.submain.rise_m, -1000.0, 1000.0),
            },
        )
    if not math.isfinite(inlet_head_m):
        faults.append(Fault("inlet_head_m", str(inlet_head_m), "a number"))
    if faults:
        raise InputInvalid("the block cannot be built", faults)


def _block_tables(block: Block) -> BlockTables:
    from service.waterworks.block_kernel import MANIFOLD_ROW, BlockTables

    laterals, rise_m = lateral_rows(block.laterals)
    pipes = np.zeros(2, dtype=MANIFOLD_ROW)
    manifold, submain = block.manifold, block.submain
    write_pipe(pipes, 0, manifold.pipe)
    pipes["takeoff_spacing_m"] = manifold.takeoff_spacing_m
    pipes["first_segment_m"] = [manifold.inlet_segment_m, submain.length_m if submain else 0.0]
    pipes["laterals_per_takeoff_count"] = block.laterals_per_takeoff_count
    write_pipe(pipes, 1, submain.pipe if submain else manifold.pipe)
    distance_m = manifold.inlet_segment_m + manifold.takeoff_spacing_m * np.arange(
        block.takeoff_count
    )
    return BlockTables(
        pipes=pipes,
        submain_rise_m=float(submain.rise_m) if submain else 0.0,
        takeoff_rise_m=rise_along_m(manifold.profile, distance_m),
        laterals=laterals,
        rise_m=rise_m,
        solution=np.full((len(laterals), 2, rise_m.shape[1]), np.nan),
        takeoff_head_m=np.zeros(block.takeoff_count),
        end_head_m=np.full(len(laterals), np.nan),
        reached_count=np.zeros(len(laterals), dtype=np.int64),
    )


def _outside_range_count(block: Block, head_m: Floats) -> int:
    """Emitters with water that work outside of the compensating range stated for them."""
    low = np.array([line.emitter.compensates_from_head_m or 0.0 for line in block.laterals])
    high = np.array([line.emitter.highest_working_head_m for line in block.laterals])
    is_outside = (head_m > 0.0) & ((head_m < low[:, None]) | (head_m > high[:, None]))
    return int(np.count_nonzero(is_outside))
