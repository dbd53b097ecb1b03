"""What it takes to flush a drip line: the flow at its open end that carries sediment out.

In: the width of a line, its own emitters and the flow at hand. Out: the flow at the end, at the
inlet, and how many lines can be open at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.errors import Fault, InputInvalid

FLUSH_VELOCITY_M_S = 0.3
"""1 ft/s where the line ends; UC micro-irrigation maintenance pages."""


@dataclass(frozen=True, slots=True)
class FlushNeed:
    """Flows while the end of a line is open."""

    end_flow_l_per_h: float
    """Through the open end."""
    line_flow_l_per_h: float
    """At the line's inlet: its emitters take their part on the way."""
    lines_at_once_count: int
    """Lines that the flow at hand flushes together; 0: not even one."""


def flush_need(
    diameter_mm: float, emitters_flow_l_per_h: float, flow_at_hand_l_per_h: float
) -> FlushNeed:
    """Flow that flushes a line, and how many lines can be flushed at once.

    Shapes: scalars.
    diameter_mm: inside; emitters_flow_l_per_h: of all the line's emitters; flow_at_hand_l_per_h:
    of the block or the supply.
    Returns: FlushNeed; a width or flow of zero raises ``InputInvalid``.
    Equation: flow = pi / 4 D^2 v with v = 0.3 m/s.
    >>> round(flush_need(16.0, 200.0, 4000.0).end_flow_l_per_h)
    217
    """
    faults = [
        Fault(name, f"{value:g}", "above 0")
        for name, value in (
            ("diameter_mm", diameter_mm),
            ("flow_at_hand_l_per_h", flow_at_hand_l_per_h),
        )
        if not 0.0 < value < math.inf
    ]
    if faults:
        raise InputInvalid("the flushing of this line cannot be computed", faults)
    section_m2 = math.pi / 4.0 * (diameter_mm * 1e-3) ** 2
    end = section_m2 * FLUSH_VELOCITY_M_S * 3600.0 * 1000.0
    line = end + emitters_flow_l_per_h
    return FlushNeed(end, line, math.floor(flow_at_hand_l_per_h / line))
