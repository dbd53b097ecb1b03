"""Where within an outline its name fits best.

In: the rings of a polygon in a plane. Out: the middle of the largest ellipse, wider than high as a
name with its number is, that fits into the polygon.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from service.geography.records import Floats, Polygon

WIDTH_OF_HEIGHT: Final = 2.0
"""[CHOICE] A name above its number is about twice as wide as high."""
_STEPS: Final = 24
_AS_GOOD: Final = 0.97
"""[CHOICE] Share of the most room from which a place nearer to the middle is preferred."""
_ROUNDS: Final = 3
"""Each looks around the best place of the round before, on a grid four times as fine."""


@dataclass(frozen=True, slots=True)
class LabelSpot:
    """The middle of the ellipse and half its height; half its width is twice that."""

    x: float
    y: float
    half_height: float


def find_label_spot(polygon: Polygon) -> LabelSpot:
    """The spot of a polygon in a plane, found on grids, so within a hundredth of the polygon.

    Shapes: rings of at least 3 corners.
    Returns: in the unit of the polygon; half_height is 0 for a polygon too thin to be met.
    Source: the idea is that of the pole of inaccessibility, common practice of map making; the
    ellipse is a circle in a plane that is half as wide. [CHOICE] of grids.

    >>> spot = find_label_spot((((0.0, 0.0), (8.0, 0.0), (8.0, 4.0), (0.0, 4.0)),))
    >>> round(spot.x, 1), round(spot.y, 1), round(spot.half_height, 1)
    (4.0, 2.0, 2.0)
    """
    squeezed = [np.array(ring) / (WIDTH_OF_HEIGHT, 1.0) for ring in polygon]
    starts = np.concatenate(squeezed)
    ends = np.concatenate([np.roll(ring, -1, axis=0) for ring in squeezed])
    low, high = squeezed[0].min(axis=0), squeezed[0].max(axis=0)
    middle, reach = (low + high) / 2.0, (high - low) / 2.0
    center, best = middle, 0.0
    for _ in range(_ROUNDS):
        steps = np.linspace(-1.0, 1.0, _STEPS + 1)
        grid = np.stack(np.meshgrid(*(middle[:, None] + reach[:, None] * steps)), -1).reshape(-1, 2)
        depth = _depths(grid, starts, ends)
        # A long county has as much room in many places: then its middle is taken.
        away = np.hypot(*(grid - center).T)
        place = int(np.argmin(np.where(depth >= _AS_GOOD * depth.max(), away, np.inf)))
        best, middle = float(depth[place]), grid[place]
        reach = reach / 4.0
    return LabelSpot(
        x=float(middle[0]) * WIDTH_OF_HEIGHT, y=float(middle[1]), half_height=max(best, 0.0)
    )


def _depths(grid: Floats, starts: Floats, ends: Floats) -> Floats:
    """How far each place is from the nearest edge; negative outside."""
    along = ends - starts
    to_place = grid[:, None, :] - starts
    length = (along**2).sum(axis=1)
    share = np.clip((to_place * along).sum(axis=2) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    gap = to_place - share[..., None] * along
    distance = np.sqrt((gap**2).sum(axis=2).min(axis=1))
    # Edges that a ray to the east crosses: an odd number from within.
    is_below = starts[:, 1] > grid[:, None, 1]
    crosses = is_below != (ends[:, 1] > grid[:, None, 1])
    rise = np.where(along[:, 1] == 0.0, 1.0, along[:, 1])
    at_x = starts[:, 0] + (grid[:, None, 1] - starts[:, 1]) / rise * along[:, 0]
    is_within = (crosses & (grid[:, None, 0] < at_x)).sum(axis=1) % 2 == 1
    depth: Floats = np.where(is_within, distance, -distance)
    return depth
