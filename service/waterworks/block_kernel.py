"""Compiled arithmetic of a block: a manifold, marched from its far end as a lateral is.

In: the pipes of manifold and submain, the rise of each take-off, and the laterals' records. Out:
the head at each take-off, and head and flow of every emitter. Where a lateral has emitters, the
manifold has laterals: each is solved for the head at its take-off, and its inlet flow with the
slope of that flow over the head joins the manifold. The rules are those of
:mod:`service.waterworks.block_hydraulics`, which is the public entrance to this file.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np

from service.kernels import Records, compiled, record_layout
from service.waterworks.lateral_kernel import (
    FAR_BEYOND_RATIO,
    SEARCH_LIMIT_COUNT,
    Arrival,
    PipeRow,
    friction_gradient,
    solve_inlet,
)
from service.waterworks.records import Floats, Ints

BLOCK_TOLERANCE_M = 1e-8  # on the inlet head, per metre; laterals are solved a hundred times finer
DRY_TAKEOFF_HEAD_M = 1e-9  # a take-off with less head gives no water; laterals end at a thousandth


class ManifoldRow(PipeRow, Protocol):
    """A manifold, or a submain with one segment."""

    takeoff_spacing_m: float
    first_segment_m: float
    laterals_per_takeoff_count: int


MANIFOLD_ROW = record_layout(ManifoldRow)


class BlockTables(NamedTuple):
    """What the kernels read of a block, and where they write."""

    pipes: Records
    """Manifold and submain, as :class:`ManifoldRow`."""
    submain_rise_m: float
    takeoff_rise_m: Floats
    """Above the manifold's inlet, (takeoffs,)."""
    laterals: Records
    """In order of the take-offs, (laterals,)."""
    rise_m: Floats
    """Of each emitter above its lateral's inlet, (laterals, emitters)."""
    solution: Floats
    """Written: head and flow, (laterals, 2, emitters)."""
    takeoff_head_m: Floats
    """Written, (takeoffs,)."""
    end_head_m: Floats
    """Head at the end of each lateral when it was last solved: where the next search begins."""
    reached_count: Ints
    """Written: emitters of each lateral that water reaches, (laterals,)."""


@compiled
def march_manifold(
    block: BlockTables, takeoff_count: int, end_head_m: float, limit_m: float
) -> Arrival:
    """Head and flow at the block's inlet if the last take-off had the end head."""
    manifold = block.pipes[0]
    submain = block.pipes[1]
    sides = manifold.laterals_per_takeoff_count
    head = end_head_m
    head_slope = 1.0
    flow = 0.0
    flow_slope = 0.0
    for takeoff in range(takeoff_count - 1, -1, -1):
        block.takeoff_head_m[takeoff] = max(head, 0.0)
        for index in range(takeoff * sides, (takeoff + 1) * sides):
            lateral = block.laterals[index]
            count = lateral.emitter_count
            rows = block.solution[index, :, :count]
            if head <= DRY_TAKEOFF_HEAD_M:
                rows[:] = 0.0
                block.reached_count[index] = 0
                continue
            guess = block.end_head_m[index]
            inlet = solve_inlet(lateral, block.rise_m[index, :count], head, guess, rows)
            block.end_head_m[index] = inlet.end_head_m
            block.reached_count[index] = inlet.reached_count
            flow += inlet.flow_l_per_h
            flow_slope += inlet.flow_slope * head_slope
        gradient, gradient_slope = friction_gradient(manifold, flow)
        length = manifold.takeoff_spacing_m if takeoff > 0 else manifold.first_segment_m
        upstream_rise = block.takeoff_rise_m[takeoff - 1] if takeoff > 0 else 0.0
        head += gradient * length + block.takeoff_rise_m[takeoff] - upstream_rise
        head_slope += gradient_slope * flow_slope * length
        total = head + upstream_rise + block.submain_rise_m
        if total > limit_m:
            return Arrival(total, flow, head_slope, flow_slope, True)
    gradient, gradient_slope = friction_gradient(submain, flow)
    head += gradient * submain.first_segment_m + block.submain_rise_m
    head_slope += gradient_slope * flow_slope * submain.first_segment_m
    return Arrival(head, flow, head_slope, flow_slope, False)


@compiled
def search_block(block: BlockTables, takeoff_count: int, inlet_head_m: float) -> bool:
    """Solve the block up to a take-off; whether water reaches it and all before it.

    Where the laterals' flow jumps over the head, because water just passes a crest, the side on
    which it does not pass is taken.
    """
    rise = block.takeoff_rise_m[:takeoff_count]
    end_rise = rise[takeoff_count - 1]
    high = inlet_head_m - block.submain_rise_m - end_rise
    low = min(high, np.min(rise) - end_rise)
    end = high
    size = max(1.0, abs(inlet_head_m))
    limit = inlet_head_m + FAR_BEYOND_RATIO * size
    is_dust = False
    for _ in range(SEARCH_LIMIT_COUNT):
        arrival = march_manifold(block, takeoff_count, end, limit)
        error = arrival.head_m - inlet_head_m
        if not arrival.is_beyond and abs(error) <= BLOCK_TOLERANCE_M * size:
            return bool(np.all(block.takeoff_head_m[:takeoff_count] > DRY_TAKEOFF_HEAD_M))
        if error > 0.0:
            high = end
        else:
            low = end
        middle = 0.5 * (low + high)
        is_dust = abs(high) < DRY_TAKEOFF_HEAD_M and high - low < DRY_TAKEOFF_HEAD_M
        if is_dust or middle <= low or middle >= high:
            break
        step = end - error / arrival.head_slope
        end = step if low < step < high and not arrival.is_beyond else middle
    march_manifold(block, takeoff_count, low, np.inf)
    return not is_dust and bool(np.all(block.takeoff_head_m[:takeoff_count] > DRY_TAKEOFF_HEAD_M))


@compiled
def solve_block_rows(block: BlockTables, inlet_head_m: float) -> int:
    """Solve a block; returns how many take-offs from the inlet on water reaches."""
    takeoffs = len(block.takeoff_rise_m)
    if search_block(block, takeoffs, inlet_head_m):
        return takeoffs
    reached = 0
    most = takeoffs - 1
    while reached < most:
        middle = (reached + most + 1) // 2
        if search_block(block, middle, inlet_head_m):
            reached = middle
        else:
            most = middle - 1
    if reached > 0:
        search_block(block, reached, inlet_head_m)
    first_dry = reached * block.pipes[0].laterals_per_takeoff_count
    block.takeoff_head_m[reached:] = 0.0
    block.reached_count[first_dry:] = 0
    for index in range(first_dry, block.laterals.shape[0]):
        block.solution[index, :, : block.laterals[index].emitter_count] = 0.0
    return reached
