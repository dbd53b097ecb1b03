"""Compiled arithmetic of a drip lateral: friction, emitters, and the march from its far end.

In: one record per lateral (:class:`LateralRow`) and the rise of each emitter above the inlet. Out:
pressure head and flow of every emitter. The far end's head is the one unknown: from it the march
goes upstream, each emitter's flow joins the pipe and friction adds to the head, so the head that
arrives at the inlet is a rising function of the head at the end, and one number is searched for.
The rules are those of :mod:`service.waterworks.lateral`, which is the public entrance to this file.
Friction: Darcy-Weisbach with the friction factor of EPANET 2.2 (Rossman et al. 2020, EPA/600/R-20
/133; the same in its source, hydcoeffs.c), or Hazen-Williams.
"""

from __future__ import annotations

import math
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from service.kernels import Records, compiled, record_layout
from service.waterworks.records import Floats

M3_S_PER_L_PER_H = 1.0 / 3.6e6  # [m3/s per L/h]
LAMINAR_LIMIT = 500.0 * math.pi  # Reynolds number 2000, as flow / (viscosity diameter)
TURBULENT_LIMIT = 1000.0 * math.pi  # Reynolds number 4000, likewise
SWAMEE_JAIN = 5.74 * (math.pi / 4.0) ** 0.9  # Swamee and Jain 1976, for that quotient
SWAMEE_JAIN_AT_4000 = 5.74 / 4000.0**0.9  # the same term where the cubic takes over
MINUS_TWO_PER_LN_TEN = -2.0 / math.log(10.0)  # -2 log10(y) as a natural logarithm
CUBIC_SLOPE = -1.8 * 2.0 / math.log(10.0) * SWAMEE_JAIN_AT_4000  # slope of the factor at Re 4000
HAZEN_WILLIAMS_EXPONENT = 1.852
LAW_BELOW_RANGE = 0.5  # an emitter outside its regulating range acts as an orifice
HEAD_TOLERANCE_M = 1e-10  # on the inlet head, per metre of it; far below anything a gauge can show
DRY_HEAD_M = 1e-12  # heads up to here are rounding: no water
STARVED_RATIO = 1e-6  # share of the inlet head that the search may miss where rounding ends it
FAR_BEYOND_RATIO = 100.0  # a march this far past its goal does not need its slope
SEARCH_LIMIT_COUNT = 1200  # halvings down to the smallest float; Newton steps end it after ~6


class PipeRow(Protocol):
    """What the friction of one pipe needs; the first fields of every row with a pipe."""

    is_hazen_williams: int
    resistance: float
    """Darcy-Weisbach: 8 / (g pi^2 D^5); Hazen-Williams: 10.67 / (C^1.852 D^4.871); SI."""
    viscous_flow_m3_s: float
    """Viscosity times diameter: a flow over it is Re pi / 4."""
    relative_roughness: float


class LateralRow(PipeRow, Protocol):
    """One lateral, without its rises."""

    emitter_count: int
    emitter_spacing_m: float
    first_segment_m: float
    connection_length_m: float
    flow_coefficient: float
    flow_exponent: float
    compensates_from_head_m: float
    compensates_to_head_m: float


LATERAL_ROW = record_layout(LateralRow)


class Arrival(NamedTuple):
    """What a march brings to the upstream end of a pipe."""

    head_m: float
    flow_l_per_h: float
    head_slope: float
    """Change of the head per change of the head at the far end, at least 1."""
    flow_slope: float
    """Change of the flow [L/h] per change of the head at the far end [m]."""
    is_beyond: bool
    """The march stopped early, because the inlet head was passed already."""


class Inlet(NamedTuple):
    """The relation of a lateral's inlet to its head, at one head."""

    flow_l_per_h: float
    flow_slope: float
    """Change of the inlet flow [L/h] per change of the inlet head [m]."""
    end_head_m: float
    reached_count: int


@compiled
def friction_factor(quotient: float, relative_roughness: float) -> tuple[float, float]:
    """Darcy-Weisbach factor above Re 2000, and its slope over the quotient flow / (nu D)."""
    if quotient >= TURBULENT_LIMIT:
        y1 = SWAMEE_JAIN / quotient**0.9
        y2 = relative_roughness / 3.7 + y1
        y3 = MINUS_TWO_PER_LN_TEN * math.log(y2)
        factor = 1.0 / (y3 * y3)
        return factor, 1.8 * factor * y1 * MINUS_TWO_PER_LN_TEN / (y2 * y3 * quotient)
    # Dunlop's cubic joins both laws in value and slope.
    y2 = relative_roughness / 3.7 + SWAMEE_JAIN_AT_4000
    y3 = MINUS_TWO_PER_LN_TEN * math.log(y2)
    fa = 1.0 / (y3 * y3)
    fb = (2.0 + CUBIC_SLOPE / (y2 * y3)) * fa
    r = quotient / LAMINAR_LIMIT
    x1 = 7.0 * fa - fb
    x2 = 0.128 - 17.0 * fa + 2.5 * fb
    x3 = -0.128 + 13.0 * fa - 2.0 * fb
    x4 = 0.032 - 3.0 * fa + 0.5 * fb
    factor = x1 + r * (x2 + r * (x3 + r * x4))
    return factor, (x2 + r * (2.0 * x3 + r * 3.0 * x4)) / LAMINAR_LIMIT


@compiled
def friction_gradient(pipe: PipeRow, flow_l_per_h: float) -> tuple[float, float]:
    """Head lost per metre of pipe, and its slope over the flow in L/h."""
    if flow_l_per_h <= 0.0:
        return 0.0, 0.0
    flow = flow_l_per_h * M3_S_PER_L_PER_H
    if pipe.is_hazen_williams == 1:
        gradient = pipe.resistance * flow**HAZEN_WILLIAMS_EXPONENT
        return gradient, HAZEN_WILLIAMS_EXPONENT * gradient / flow_l_per_h
    quotient = flow / pipe.viscous_flow_m3_s
    if quotient <= LAMINAR_LIMIT:
        # 64 / Re is Hagen and Poiseuille's law: straight in the flow.
        per_flow = 16.0 * math.pi * pipe.viscous_flow_m3_s * pipe.resistance * M3_S_PER_L_PER_H
        return per_flow * flow_l_per_h, per_flow
    factor, factor_slope = friction_factor(quotient, pipe.relative_roughness)
    gradient = factor * pipe.resistance * flow * flow
    slope = gradient * (2.0 + factor_slope * quotient / factor) / flow_l_per_h
    return gradient, slope


@compiled
def emitter_flow(lateral: LateralRow, head_m: float) -> tuple[float, float]:
    """Flow of one emitter in L/h and its slope over the head; nothing flows in."""
    if head_m <= 0.0:
        return 0.0, 0.0
    law_head = min(max(head_m, lateral.compensates_from_head_m), lateral.compensates_to_head_m)
    flow = lateral.flow_coefficient
    if lateral.flow_exponent != 0.0:
        if lateral.flow_exponent == 0.5:  # a square root is several times faster than a power
            flow *= math.sqrt(law_head)
        else:
            flow *= law_head**lateral.flow_exponent
    exponent = lateral.flow_exponent
    if law_head != head_m:
        flow *= math.sqrt(head_m / law_head)
        exponent = LAW_BELOW_RANGE
    return flow, exponent * flow / head_m


@compiled
def march(
    lateral: LateralRow, rise_m: Floats, emitter_count: int, end_head_m: float, limit_m: float
) -> Arrival:
    """Head and flow at the inlet if the last emitter had the end head.

    The total head only grows upstream, so the march may stop once it has passed the limit.
    """
    head = end_head_m
    head_slope = 1.0
    flow = 0.0
    flow_slope = 0.0
    for position in range(emitter_count - 1, -1, -1):
        drawn, drawn_slope = emitter_flow(lateral, head)
        flow += drawn
        flow_slope += drawn_slope * head_slope
        gradient, gradient_slope = friction_gradient(lateral, flow)
        length = lateral.emitter_spacing_m if position > 0 else lateral.first_segment_m
        length += lateral.connection_length_m
        upstream_rise = rise_m[position - 1] if position > 0 else 0.0
        head += gradient * length + rise_m[position] - upstream_rise
        head_slope += gradient_slope * flow_slope * length
        if head + upstream_rise > limit_m:
            return Arrival(head + upstream_rise, flow, head_slope, flow_slope, position > 0)
    return Arrival(head, flow, head_slope, flow_slope, False)


@compiled
def search_end(
    lateral: LateralRow, rise_m: Floats, emitter_count: int, inlet_head_m: float, guess_m: float
) -> Inlet:
    """Inlet flow at an inlet head, with the far end's head: Newton's steps inside a bracket.

    The reached count is 0 where no end head leads to the inlet head: water ends before the end.
    """
    end_rise = rise_m[emitter_count - 1]
    high = inlet_head_m - end_rise  # no friction at all
    low = min(high, np.min(rise_m[:emitter_count]) - end_rise)  # no emitter under pressure
    end = guess_m if low < guess_m < high else high
    size = max(1.0, abs(inlet_head_m))
    limit = inlet_head_m + FAR_BEYOND_RATIO * size
    for _ in range(SEARCH_LIMIT_COUNT):
        arrival = march(lateral, rise_m, emitter_count, end, limit)
        error = arrival.head_m - inlet_head_m
        if not arrival.is_beyond and abs(error) <= HEAD_TOLERANCE_M * size:
            slope = arrival.flow_slope / arrival.head_slope
            return Inlet(arrival.flow_l_per_h, slope, end, emitter_count)
        if error > 0.0:
            high = end
        else:
            low = end
        middle = 0.5 * (low + high)
        is_dust = abs(high) < DRY_HEAD_M and high - low < DRY_HEAD_M
        if is_dust or middle <= low or middle >= high:
            break
        step = end - error / arrival.head_slope
        end = step if low < step < high and not arrival.is_beyond else middle
    arrival = march(lateral, rise_m, emitter_count, low, np.inf)
    if abs(arrival.head_m - inlet_head_m) > STARVED_RATIO * abs(inlet_head_m):
        # The flow dies out on the way, faster than any number for the end head could say.
        return Inlet(0.0, 0.0, low, 0)
    slope = arrival.flow_slope / arrival.head_slope
    return Inlet(arrival.flow_l_per_h, slope, low, emitter_count)


@compiled
def spread_heads(
    lateral: LateralRow, rise_m: Floats, end: Inlet, head_m: Floats, flow_l_per_h: Floats
) -> int:
    """Write head and flow of each emitter; return how many from the inlet on are under pressure.

    An emitter without pressure head is written as 0 and 0, and so is each beyond the last reached.
    """
    head = end.end_head_m
    flow = 0.0
    reached = end.reached_count
    head_m[reached:] = 0.0
    flow_l_per_h[reached:] = 0.0
    for position in range(end.reached_count - 1, -1, -1):
        drawn = emitter_flow(lateral, head)[0]
        if head <= DRY_HEAD_M:
            reached = position
        head_m[position] = head if head > DRY_HEAD_M else 0.0
        flow_l_per_h[position] = drawn if head > DRY_HEAD_M else 0.0
        flow += drawn  # also what is too little to count: upstream heads grow from it
        gradient = friction_gradient(lateral, flow)[0]
        if position > 0:
            length = lateral.emitter_spacing_m + lateral.connection_length_m
            head += gradient * length + rise_m[position] - rise_m[position - 1]
    return reached


@compiled
def solve_inlet(
    lateral: LateralRow, rise_m: Floats, inlet_head_m: float, guess_m: float, rows: Floats
) -> Inlet:
    """The lateral at one inlet head; heads and flows go to the two given rows.

    Water is not drawn over a crest by suction, as emitters let air in: where water does not reach
    the end, the lateral is taken to end at the furthest emitter for which all before it are under
    pressure.
    """
    count = rows.shape[1]
    found = search_end(lateral, rise_m, count, inlet_head_m, guess_m)
    reached = spread_heads(lateral, rise_m, found, rows[0], rows[1])
    is_solved = found.reached_count == count
    if is_solved and (reached == count or not np.any(rows[1, reached:] > 0.0)):
        return Inlet(found.flow_l_per_h, found.flow_slope, found.end_head_m, reached)
    most = count - 1
    while reached < most:
        middle = (reached + most + 1) // 2
        found = search_end(lateral, rise_m, middle, inlet_head_m, np.nan)
        if spread_heads(lateral, rise_m, found, rows[0], rows[1]) == middle:
            reached = middle
        else:
            most = middle - 1
    if reached == 0:
        rows[:] = 0.0
        return Inlet(0.0, 0.0, np.nan, 0)
    found = search_end(lateral, rise_m, reached, inlet_head_m, np.nan)
    spread_heads(lateral, rise_m, found, rows[0], rows[1])
    return found


@compiled
def solve_rows(
    laterals: Records, rise_m: Floats, inlet_head_m: Floats, solution: Floats
) -> NDArray[np.int64]:
    """Each lateral of a batch; heads and flows go to solution[:, 0] and solution[:, 1]."""
    reached = np.zeros(laterals.shape[0], dtype=np.int64)
    for row in range(laterals.shape[0]):
        lateral = laterals[row]
        count = lateral.emitter_count
        found = solve_inlet(
            lateral, rise_m[row, :count], inlet_head_m[row], np.nan, solution[row, :, :count]
        )
        reached[row] = found.reached_count
    return reached


@compiled
def scan_lengths(
    lateral: LateralRow, rise_m: Floats, inlet_head_m: float, solution: Floats, ratio: Floats
) -> int:
    """Lowest over mean emitter flow for each number of emitters from the first to the last.

    A lateral that does not reach its last emitter does not do so with one more: the scan ends
    there. Returns the count of emitters up to which the ratios are written.
    """
    guess_m = np.nan
    for count in range(1, ratio.shape[0] + 1):
        rows = solution[:, :count]
        found = solve_inlet(lateral, rise_m[:count], inlet_head_m, guess_m, rows)
        if found.reached_count < count:
            return count - 1
        guess_m = found.end_head_m  # one emitter more changes it little
        ratio[count - 1] = np.min(rows[1]) / np.mean(rows[1])
    return int(ratio.shape[0])
