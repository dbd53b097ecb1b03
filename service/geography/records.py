"""What outlines are made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Position = tuple[float, float]
"""Longitude and latitude in degrees, or a place in a plane."""
Ring = tuple[Position, ...]
"""Corners in their order; the first one is not repeated."""
Polygon = tuple[Ring, ...]
"""The outer ring, then the holes."""
Outline = tuple[Polygon, ...]
"""Of one county; more than one polygon where it has islands."""
