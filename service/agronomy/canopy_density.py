"""How close a canopy that covers part of the ground comes to the water use of full cover.

In: cover and height of a canopy, and how much a small one of its crop counts. Out: the density
coefficient Kd of Allen & Pereira 2009, Irrig. Sci. 28:17-34 (second-hand: as openet-sims codes it).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats


def density_coefficient(cover_fraction: ArrayLike, height_m: ArrayLike, *, ml: ArrayLike) -> Floats:
    """Density coefficient Kd: how close a canopy comes to the water use of full cover.

    Shapes: any three that broadcast.
    cover_fraction: effective ground cover, 0-1; height_m: canopy height [m].
    ml: multiplier on cover for small canopies, of the crop's row in the crop table.
    Returns: density coefficient [-], 0-1; NaN wherever an input is NaN.
    Equation: min(1, ML fc, fc^(1 / (1 + h))). Allen & Pereira 2009 (second-hand).
    >>> round(float(density_coefficient(0.25, 1.0, ml=1.5)), 3)
    0.375
    """
    cover = np.asarray(cover_fraction, dtype=np.float64)
    height = np.asarray(height_m, dtype=np.float64)
    by_height = cover ** (1.0 / (1.0 + height))
    return np.asarray(np.minimum(1.0, np.minimum(np.asarray(ml) * cover, by_height)))
