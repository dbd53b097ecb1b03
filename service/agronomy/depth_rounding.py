"""The one rounding of a depth of water that people read, in inches or millimetres.

In: a depth in mm. Out: the number that every page, mail, command and sentence shows for it. With
one rounding from the unrounded depth the same water is never 0.20 in here and 0.21 in there.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

from service.unit_sizes import MM_PER_INCH

STORED_DECIMALS = 6  # of the depths stored with a plan [mm]
INCH_DECIMALS = 2
MM_DECIMALS = 1


def depth_decimals(*, in_inches: bool) -> int:
    """Decimals with which a depth is shown.

    Shapes: one number.
    Returns: 2 for inches, 1 for millimetres.
    """
    return INCH_DECIMALS if in_inches else MM_DECIMALS


def shown_depth(depth_mm: float, *, in_inches: bool) -> float:
    """A depth as it is shown: rounded once, halves up, never minus nothing.

    Shapes: one number.
    depth_mm: not rounded to fewer than the six decimals that plans store [mm].
    Returns: inches or millimetres; NaN stays NaN.
    Equation: mm / 25.4 for inches.
    >>> shown_depth(5.2, in_inches=True), shown_depth(5.25, in_inches=False)
    (0.2, 5.3)
    >>> str(shown_depth(-0.001, in_inches=True))
    '0.0'
    """
    if not math.isfinite(depth_mm):
        return depth_mm
    exact = Decimal(str(round(depth_mm, STORED_DECIMALS)))
    if in_inches:
        exact /= Decimal(str(MM_PER_INCH))
    step = Decimal(1).scaleb(-depth_decimals(in_inches=in_inches))
    return float(exact.quantize(step, rounding=ROUND_HALF_UP)) + 0.0


def bare_depth_text(depth_mm: float, *, in_inches: bool) -> str:
    """A depth as it is shown, without its unit and with the marks of no language.

    Shapes: one number.
    Returns: text with a fixed number of decimals.
    >>> bare_depth_text(5.2, in_inches=True)
    '0.20'
    """
    decimals = depth_decimals(in_inches=in_inches)
    return f"{shown_depth(depth_mm, in_inches=in_inches):.{decimals}f}"
