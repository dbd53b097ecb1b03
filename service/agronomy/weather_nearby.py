"""What places nearby say of a day: one value for each place, the nearer the heavier.

In: values of all places and how far apart they are. Out: for each place the weighted median of the
nearest others, which a single bad station does not move.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints
from service.agronomy.weather_voices import BRIGHTEST_SHARE, RAIN, TOLERANCES

NEAR_KM = 60.0  # [CHOICE] how far away a place may be
MOST_PLACES = 8  # [CHOICE] the nearest that are asked
SOFTENING_KM = 20.0  # [CHOICE] nearer than that makes little difference


@dataclass(frozen=True, slots=True)
class Nearby:
    """What was measured, or said by a source that the site does not have, at places nearby."""

    values: Mapping[str, Floats]
    """(days, sites) by quantity, the weighted median; of rain the largest. NaN where none is."""
    witness_counts: Mapping[str, Ints]
    """(days, sites) by quantity, how many places agree with that, to the tolerance of a day."""

    def of_sites(self, which: NDArray[np.bool_]) -> Nearby:
        """The same of some sites."""
        return Nearby(
            {name: values[:, which] for name, values in self.values.items()},
            {name: counts[:, which] for name, counts in self.witness_counts.items()},
        )


def nearest_places(distance_km: Floats) -> tuple[Ints, Floats]:
    """The nearest places of each site, and how much each counts.

    Shapes: distance_km (sites, places), infinite between a site and itself; results (nearest,
    sites).
    Returns: places, and weights [km⁻²], 0 where there are fewer places within ``NEAR_KM``.
    Equation: weight 1 / (d + 20 km)², [CHOICE].
    >>> place, weight = nearest_places(np.array([[np.inf, 5.0, 70.0]]))
    >>> place[0].tolist(), weight[:, 0].tolist()
    ([1], [0.0016, 0.0, 0.0])
    """
    count = min(MOST_PLACES, distance_km.shape[1])
    place = np.argsort(distance_km, axis=1, kind="stable")[:, :count]
    km = np.take_along_axis(distance_km, place, axis=1)
    weight = np.where(km <= NEAR_KM, 1.0 / (km + SOFTENING_KM) ** 2, 0.0)
    return place.T, weight.T


def nearby_weather(values: Mapping[str, Floats], place: Ints, weight: Floats) -> Nearby:
    """What the places nearby say of each site.

    Shapes: values (days, places) by quantity; place, weight (nearest, sites).
    Returns: Nearby.
    >>> said = {"tmax": np.array([[30.0, 31.0, 60.0, 29.0]])}
    >>> place, weight = np.array([[1], [2], [3]]), np.array([[0.01], [0.01], [0.01]])
    >>> nearby_weather(said, place, weight).values["tmax"].tolist()
    [[31.0]]
    """
    found: dict[str, Floats] = {}
    counts: dict[str, Ints] = {}
    for name, said in values.items():
        near = said[:, place]  # (days, nearest, sites)
        if name == "radiation":
            near = np.where(near <= BRIGHTEST_SHARE, near, np.nan)
        weights = np.where(np.isfinite(near), weight, 0.0)
        if name == RAIN:
            most = np.where(weights > 0.0, near, -np.inf).max(axis=1, initial=-np.inf)
            found[name] = np.where(np.isfinite(most), most, np.nan)
        else:
            found[name] = _weighted_median(near, weights)
        with np.errstate(invalid="ignore"):
            agrees = np.abs(near - found[name][:, None]) <= TOLERANCES[name].apart
        counts[name] = (agrees & (weights > 0.0)).sum(axis=1)
    return Nearby(found, counts)


def _weighted_median(values: Floats, weights: Floats) -> Floats:
    """Along the middle axis; NaN without any weight."""
    order = np.argsort(np.where(weights > 0.0, values, np.inf), axis=1)
    ordered = np.take_along_axis(values, order, axis=1)
    reached = np.cumsum(np.take_along_axis(weights, order, axis=1), axis=1)
    total = reached[:, -1:]
    row = np.argmax(reached >= total / 2.0, axis=1)[:, None]
    middle = np.take_along_axis(ordered, row, axis=1)
    return np.asarray(np.where(total > 0.0, middle, np.nan)[:, 0])
