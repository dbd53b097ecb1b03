"""Rain that roots find outside the wet strip: a second store, which only rain fills.

In: the share of the ground outside the strip that has roots, the rain that enters there, and the
crop's water use. Out: the store day by day and what the crop takes from it, in block millimetres.
The crop empties it first and is never stressed by it: what it lacks is asked of the strip. So the
store depends on weather and crop alone, and not on the water that was given.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats, SoilBatch
from service.agronomy.root_zone import readily_available_water_mm


class AlleyDays(NamedTuple):
    """What happened in the alley store, arrays of the shape of what was given."""

    drainage_mm: Floats
    """Rain that the store had no room for, or lost as it became smaller."""
    et_mm: Floats
    """What the crop took."""
    store_mm: Floats
    """What is left at the end of the day."""


def alley_share(
    alley_root_fraction: ArrayLike, wetted_fraction: ArrayLike, canopy_share: ArrayLike
) -> Floats:
    """Share of the block's ground outside the wet strip that the crop has roots in.

    Shapes: any three that broadcast.
    alley_root_fraction: share of the ground outside the strip that full-size plants root.
    canopy_share: size of the canopy as a share of full size; roots reach out as it does [CHOICE].
    Returns: share [-]; 0 where a number is not known.
    Equation: (1 - f_w) alley root fraction x canopy share.
    >>> float(alley_share(0.5, 0.4, 1.0))
    0.3
    """
    outside = 1.0 - np.asarray(wetted_fraction, dtype=np.float64)
    rooted = outside * np.asarray(alley_root_fraction) * np.asarray(canopy_share)
    return np.asarray(np.nan_to_num(rooted))


def alley_capacity_mm(
    soil: SoilBatch, alley_share: ArrayLike, table_depletion_fraction: ArrayLike
) -> Floats:
    """What the alley store holds when full: the readily available water of its ground.

    Shapes: result (blocks,).
    alley_share: share of the block's ground [-]; table_depletion_fraction: p at 5 mm/d.
    Returns: block depth [mm]; NaN wherever an input is NaN.
    Equation: p 1000 (FC - WP) Zr x share. FAO-56 Eq. 82, 83. With the p of the day a hot day would
    make the store smaller and spill what is still in the soil on the next, so p is the table's
    [CHOICE].
    >>> from service.agronomy.records import SoilBatch
    >>> one = np.array([1.0])
    >>> soil = SoilBatch(0.18 * one, 0.08 * one, one, 0.45 * one, 0.4 * one, one, one, one, one)
    >>> round(float(alley_capacity_mm(soil, 0.3, 0.5)[0]), 2)
    6.75
    """
    held_mm = 1000.0 * (soil.field_capacity - soil.wilting_point) * soil.root_depth_m
    return readily_available_water_mm(held_mm * np.asarray(alley_share), table_depletion_fraction)


def alley_day(
    store_start_mm: Floats, *, rain_mm: Floats, crop_et_mm: Floats, capacity_mm: Floats
) -> AlleyDays:
    """One day of the alley store.

    Shapes: any that broadcast.
    rain_mm: what enters the soil on the rooted ground outside the strip; crop_et_mm: Kc ET0.
    Returns: AlleyDays; NaN wherever an input is NaN.
    Equation: S = min(start + rain, capacity), the rest drains; the crop takes min(S, ETc).
    >>> day = alley_day(*[np.array([2.0])], rain_mm=np.array([6.0]), crop_et_mm=np.array([4.0]),
    ...     capacity_mm=np.array([7.0]))
    >>> [float(term[0]) for term in day]
    [1.0, 4.0, 3.0]
    """
    filled_mm = store_start_mm + rain_mm
    held_mm = np.minimum(filled_mm, capacity_mm)
    et_mm = np.minimum(held_mm, crop_et_mm)
    return AlleyDays(drainage_mm=filled_mm - held_mm, et_mm=et_mm, store_mm=held_mm - et_mm)


def alley_days(
    store_start_mm: Floats, *, rain_mm: Floats, crop_et_mm: Floats, capacity_mm: Floats
) -> AlleyDays:
    """The alley store over a run of days, each starting where the one before ended.

    Shapes: store_start_mm (blocks,); the rest and the result (days, blocks).
    Returns: AlleyDays; NaN from the first day on whose rain or water use is not known.
    Equation: that of :func:`alley_day`.
    >>> wet = np.array([[9.0], [0.0], [0.0]])
    >>> days = alley_days(np.zeros(1), rain_mm=wet, crop_et_mm=np.full((3, 1), 4.0),
    ...     capacity_mm=np.full((3, 1), 7.0))
    >>> days.et_mm[:, 0].tolist(), days.drainage_mm[:, 0].tolist()
    ([4.0, 3.0, 0.0], [2.0, 0.0, 0.0])
    """
    drainage_mm, et_mm, store_mm = np.empty((3, *rain_mm.shape))
    for row in range(rain_mm.shape[0]):
        day = alley_day(
            store_start_mm,
            rain_mm=rain_mm[row],
            crop_et_mm=crop_et_mm[row],
            capacity_mm=capacity_mm[row],
        )
        drainage_mm[row], et_mm[row], store_mm[row] = day
        store_start_mm = day.store_mm
    return AlleyDays(drainage_mm=drainage_mm, et_mm=et_mm, store_mm=store_mm)
