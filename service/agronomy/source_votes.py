"""Several voices on one thing: how far apart they are, and whose to set aside.

In: what each says. Out: differences between each two, and a verdict by the number of those who
agree, and by the place's past where numbers are equal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.agronomy.weather_voices import RAIN

Mask = NDArray[np.bool_]
RAIN_SUM_MM = 25.0  # [CHOICE] mm, the wetter sum must reach it before a ratio says anything
RAIN_OFFSET_MM = 5.0  # [CHOICE] mm added to both sums


def verdict(apart: Mask, side: NDArray[np.int64], distance: Floats) -> tuple[Mask, Mask, Mask]:
    """Who is set aside, where the past decided it, and what stays open.

    Shapes: apart (members, members, ...), whether the first is contradicted by the second; side
    (members, ...), how many others each has on its side; distance (members - 1, ...) from the
    place's past. The last member are the places nearby, which are never set aside.
    Returns: set aside, and set aside by the past (members - 1, ...); open still (...).
    >>> apart = np.zeros((3, 3, 1), dtype=bool)
    >>> apart[0, 1] = apart[1, 0] = True
    >>> aside, by_past, _ = verdict(apart, np.zeros((3, 1), int), np.array([[8.0], [1.0]]))
    >>> aside[:, 0].tolist(), by_past[:, 0].tolist()
    ([True, False], [True, False])
    """
    voices, own_side = apart[:-1], side[:-1, None]
    aside: Mask = np.asarray((voices & (side[None, :] > own_side)).any(axis=1))
    # Only who is still believed can contradict on equal terms.
    heard = np.concatenate([~aside, np.ones_like(aside[:1])])
    equal = np.logical_and(voices & heard[None, :], side[None, :] == own_side)
    tied = equal[:, :-1] & ~aside[:, None]
    with np.errstate(invalid="ignore"):
        farther = np.greater(distance[:, None], distance[None, :])
    by_past = (tied & farther).any(axis=1)
    unsettled = (tied & ~farther & ~np.swapaxes(farther, 0, 1)).any(axis=(0, 1))
    one_place = (equal[:, -1] & ~aside).any(axis=0)
    return aside | by_past, by_past, unsettled | one_place


def series_gaps(name: str, members: Floats, fewest: int) -> Floats:
    """How far each lies above each other one over the days that both know.

    Shapes: members (members, days, sites); result (members, members, sites).
    Returns: median difference; of rain the logarithm of the ratio of the sums without the day
    on which they differ most, once the larger reaches 25 mm. NaN with fewer days than asked for.
    Equation: as said, [CHOICE].
    >>> said = np.array([[[30.0]], [[28.0]]]).repeat(4, axis=1)
    >>> float(series_gaps("tmax", said, 4)[0, 1, 0])
    2.0
    """
    count, _, sites = members.shape
    gaps = np.full((count, count, sites), np.nan)
    for one in range(count):
        for other in range(one):
            left, right = members[one], members[other]
            both = np.isfinite(left) & np.isfinite(right)
            if name == RAIN:
                both &= ~_most_different_day(left, right, both)
                sums = [np.where(both, side, 0.0).sum(axis=0) for side in (left, right)]
                gap = np.log((sums[0] + RAIN_OFFSET_MM) / (sums[1] + RAIN_OFFSET_MM))
                is_enough = np.maximum(*sums) >= RAIN_SUM_MM
            else:
                gap = median(np.where(both, left - right, np.nan), axis=0)
                is_enough = np.ones(sites, dtype=np.bool_)
            known = is_enough & (both.sum(axis=0) >= fewest)
            gaps[one, other] = np.where(known, gap, np.nan)
            gaps[other, one] = -gaps[one, other]
    return gaps


def _most_different_day(left: Floats, right: Floats, both: Mask) -> Mask:
    """(days, sites) one storm that passed beside a place says nothing of all its rain."""
    apart = np.where(both, np.abs(left - right), -1.0)
    found: Mask = np.arange(len(apart))[:, None] == apart.argmax(axis=0)
    return found


def median(values: Floats, *, axis: int) -> Floats:
    """Median of what is known along an axis.

    Shapes: any; the result lacks the axis.
    Returns: the middle value, or the mean of the two in the middle; NaN where nothing is known.
    Source: definition.
    >>> float(median(np.array([3.0, np.nan, 1.0, 8.0]), axis=0))
    3.0
    """
    ordered = np.sort(values, axis=axis)  # NaN last
    count = np.isfinite(ordered).sum(axis=axis, keepdims=True)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    if ordered.shape[axis] == 0:
        return np.full(np.delete(np.array(values.shape), axis), np.nan)
    high = np.minimum(high, np.maximum(count - 1, 0))
    middle = np.take_along_axis(ordered, low, axis) + np.take_along_axis(ordered, high, axis)
    return np.asarray(np.squeeze(middle, axis=axis) / 2.0)


def mean_of_known(values: Floats, *, axis: int) -> Floats:
    """Mean of what is known along an axis.

    Shapes: any; the result lacks the axis.
    Returns: the mean; NaN where nothing is known.
    Source: definition.
    >>> float(mean_of_known(np.array([3.0, np.nan, 1.0]), axis=0))
    2.0
    """
    known = np.isfinite(values)
    total = np.where(known, values, 0.0).sum(axis=axis)
    count = known.sum(axis=axis)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
