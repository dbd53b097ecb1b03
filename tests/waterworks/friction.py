"""Friction of one pipe, as the compiled solvers compute it, and Christiansen's factor beside it."""

from __future__ import annotations

import math

import numpy as np

from service.waterworks.lateral import Pipe, write_pipe
from service.waterworks.lateral_kernel import LATERAL_ROW, friction_gradient


def friction_head_m_per_m(pipe: Pipe, flow_l_per_h: float) -> float:
    """Head that a metre of pipe takes from a flow."""
    row = np.zeros(1, dtype=LATERAL_ROW)
    write_pipe(row, 0, pipe)
    return float(friction_gradient(row[0], flow_l_per_h)[0])


def christiansen_factor(outlet_count: int, flow_exponent: float) -> float:
    """Share of a full-length friction loss that remains when equal outlets are evenly spaced.

    The first outlet is one spacing from the inlet. The exponent is that of the friction law: 1.75
    smooth Darcy-Weisbach, 1.852 Hazen-Williams, 2 rough. Christiansen 1942, from memory.
    """
    m, n = flow_exponent, outlet_count
    return 1.0 / (m + 1.0) + 1.0 / (2.0 * n) + math.sqrt(m - 1.0) / (6.0 * n * n)
