"""How long water takes through a block: to fill empty pipes, and to carry something to the plants.

In: solved laterals and blocks. Out: minutes from an inlet to each emitter, and minutes until empty
pipes are full. Two different figures: filling ends when the pipes are full, and decides
the shortest pulse; travel is how long injected fertiliser or the last of it needs to reach an
emitter, and decides fertigation. The last emitters of a lateral sit in slow water, so travel
takes several times as long as filling. Plug flow: volume over flow, segment by segment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from service.unit_sizes import L_PER_M3, MINUTES_PER_HOUR
from service.waterworks.block_hydraulics import Block, BlockFlow
from service.waterworks.lateral import Lateral, Pipe
from service.waterworks.records import Floats

MOST_EMITTERS_FRACTION = 0.95  # [-] share of the emitters meant by "most"; a modelling choice


@dataclass(frozen=True, slots=True)
class BlockTravel:
    """Minutes that water takes from the block's inlet; inf where it does not arrive."""

    volume_l: float
    """Of submain, manifold and laterals."""
    fill_time_min: float
    """Until empty pipes are full."""
    takeoff_travel_min: Floats
    """To each take-off, (takeoffs,)."""
    emitter_travel_min: Floats
    """To each emitter, (laterals, emitters); NaN beyond a shorter lateral's last."""
    most_travel_min: float
    """Until 95 % of the emitters are reached."""
    last_travel_min: float
    """Until the last emitter that water reaches at all; what injection and flush must allow for."""


def pipe_volume_l(pipe: Pipe, length_m: float) -> float:
    """Water that a length of pipe holds.

    Shapes: numbers.
    Returns: volume [L].
    Equation: pi / 4 D^2 L.
    >>> round(pipe_volume_l(Pipe(16.0), 46.0), 2)
    9.25
    """
    return pipe.section_m2 * length_m * L_PER_M3


def pipe_travel_min(pipe: Pipe, length_m: float, flow_l_per_h: float) -> float:
    """Time that a plug of water takes through a pipe without outlets.

    Shapes: numbers.
    Returns: time [min]; inf where nothing flows through a length above 0.
    Equation: L / v, as volume over flow.
    >>> round(pipe_travel_min(Pipe(16.0), 46.0, 200.0), 2)
    2.77
    """
    if length_m == 0.0:
        return 0.0
    if flow_l_per_h <= 0.0:
        return math.inf
    return MINUTES_PER_HOUR * pipe_volume_l(pipe, length_m) / flow_l_per_h


def lateral_travel_min(lateral: Lateral, emitter_flow_l_per_h: ArrayLike) -> Floats:
    """Time from a lateral's inlet to each of its emitters.

    Shapes: emitter_flow_l_per_h and result (emitters,).
    emitter_flow_l_per_h: of the solved lateral, from the inlet on [L/h].
    Returns: time [min]; inf for each emitter that water does not reach.
    Equation: t_n = sum over i <= n of A S / Q_i, Q_i the flow of all emitters from i on.
    >>> from service.waterworks.lateral import Emitter
    >>> line = Lateral(emitter=Emitter(2.0), pipe=Pipe(16.0), emitter_count=100,
    ...                emitter_spacing_m=0.46)
    >>> round(float(lateral_travel_min(line, np.full(100, 2.0))[-1]), 2)
    14.39
    """
    flow = np.asarray(emitter_flow_l_per_h, dtype=np.float64)
    carried = np.cumsum(flow[::-1])[::-1]
    length_m = np.full(flow.size, lateral.emitter_spacing_m)
    length_m[0] = lateral.inlet_segment_m
    return _cumulative_min(lateral.pipe, length_m, carried)


def block_travel(block: Block, flow: BlockFlow) -> BlockTravel:
    """Travel and fill times of a solved block.

    Shapes: result arrays (takeoffs,) and (laterals, emitters).
    flow: what :func:`service.waterworks.block_hydraulics.solve_block` found for the block.
    Returns: times [min]; inf where water does not arrive.
    Equation: volume over flow for submain, each manifold segment and each lateral segment; filling
    is the volume of all pipes over the block's working flow.
    >>> from service.waterworks.lateral import Emitter
    >>> line = Lateral(emitter=Emitter(2.0), pipe=Pipe(16.0), emitter_count=100,
    ...                emitter_spacing_m=0.46)
    >>> from service.waterworks.block_hydraulics import Manifold, solve_block
    >>> one = Block(Manifold(Pipe(16.0), 0.46), (line,))
    >>> round(block_travel(one, solve_block(one, 10.0)).last_travel_min, 1)  # 14.5 and one segment
    14.5
    """
    sides = block.laterals_per_takeoff_count
    manifold, submain = block.manifold, block.submain
    by_takeoff = flow.lateral_flow_l_per_h.reshape(-1, sides).sum(axis=1)
    length_m = np.full(by_takeoff.size, manifold.takeoff_spacing_m)
    length_m[0] = manifold.inlet_segment_m
    volume_l = pipe_volume_l(manifold.pipe, float(length_m.sum()))
    volume_l += sum(pipe_volume_l(line.pipe, line.length_m) for line in block.laterals)
    takeoff_min = _cumulative_min(manifold.pipe, length_m, np.cumsum(by_takeoff[::-1])[::-1])
    if submain is not None:
        volume_l += pipe_volume_l(submain.pipe, submain.length_m)
        takeoff_min += pipe_travel_min(submain.pipe, submain.length_m, flow.inlet_flow_l_per_h)
    emitter_min = np.full_like(flow.emitter_flow_l_per_h, np.nan)
    for index, line in enumerate(block.laterals):
        own_flow = flow.emitter_flow_l_per_h[index, : line.emitter_count]
        own_min = lateral_travel_min(line, own_flow)
        emitter_min[index, : line.emitter_count] = takeoff_min[index // sides] + own_min
    known = np.sort(emitter_min[~np.isnan(emitter_min)])
    arrived = known[np.isfinite(known)]
    is_running = flow.inlet_flow_l_per_h > 0.0
    return BlockTravel(
        volume_l=volume_l,
        fill_time_min=MINUTES_PER_HOUR * volume_l / flow.inlet_flow_l_per_h
        if is_running
        else math.inf,
        takeoff_travel_min=takeoff_min,
        emitter_travel_min=emitter_min,
        most_travel_min=float(known[math.ceil(MOST_EMITTERS_FRACTION * known.size) - 1]),
        last_travel_min=float(arrived[-1]) if arrived.size else math.inf,
    )


def _cumulative_min(pipe: Pipe, length_m: Floats, flow_l_per_h: Floats) -> Floats:
    """Time to the end of each segment in a row."""
    volume_l = pipe.section_m2 * length_m * L_PER_M3
    is_flowing = flow_l_per_h > 0.0
    segment_min = np.where(
        is_flowing, MINUTES_PER_HOUR * volume_l / np.where(is_flowing, flow_l_per_h, 1.0), np.inf
    )
    segment_min[length_m == 0.0] = 0.0
    return np.asarray(np.cumsum(segment_min))
