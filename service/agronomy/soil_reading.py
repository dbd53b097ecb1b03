"""What a soil reading says about the balance, and how far the balance follows it.

In: water content or tension at a depth, what the soil holds at field capacity and wilting point,
the managed root zone. Out: the depletion that the zone would have if all of it were as the soil
that was read, the weight of the reading against the computed balance, and the correction. One spot
is not
a block: even a reading over the whole root depth moves the balance only part of the way. The
retention curve is that of Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569-1578 (from memory),
fitted through the block's own field capacity and wilting point.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats

FIELD_CAPACITY_TENSION_KPA = 33.0  # [kPa] Saxton & Rawls 2006, from memory
WILTING_POINT_TENSION_KPA = 1500.0  # [kPa] the same
LARGEST_WEIGHT_FRACTION = 0.8  # [CHOICE] weight of a reading over the whole root depth
ESTIMATE_WEIGHT_FRACTION = 0.5  # [CHOICE] weight of an estimate by hand against known books
START_WEIGHT_FRACTION = 1.0  # of an estimate where the books rest on nothing but an assumption


def water_at_tension(
    tension_kpa: ArrayLike, field_capacity: ArrayLike, wilting_point: ArrayLike
) -> Floats:
    """Volumetric water of a soil that holds it at this tension.

    Shapes: any three that broadcast.
    tension_kpa: as a tensiometer shows it, positive [kPa]; below 33 kPa the soil is wetter than
    field capacity, and field capacity is returned.
    field_capacity, wilting_point: volumetric water [m³ m⁻³], 0 < wp < fc.
    Returns: volumetric water [m³ m⁻³], at most field capacity; NaN wherever an input is NaN.
    Equation: psi = A theta^-B, B = ln(1500 / 33) / ln(FC / WP), A = 33 FC^B. Saxton & Rawls 2006,
    Eq. 11, 14, 15 (from memory).
    >>> round(float(water_at_tension(1500.0, 0.23, 0.11)), 6)
    0.11
    >>> round(float(water_at_tension(100.0, 0.23, 0.11)), 4)
    0.1856
    """
    # psi, fc, wp, b: the paper's symbols for tension, water at 33 and 1500 kPa, and the exponent.
    psi = np.maximum(np.asarray(tension_kpa, dtype=np.float64), FIELD_CAPACITY_TENSION_KPA)
    fc = np.asarray(field_capacity, dtype=np.float64)
    wp = np.asarray(wilting_point, dtype=np.float64)
    b = np.log(WILTING_POINT_TENSION_KPA / FIELD_CAPACITY_TENSION_KPA) / np.log(fc / wp)
    return np.asarray(fc * (FIELD_CAPACITY_TENSION_KPA / psi) ** (1.0 / b))


def reading_depletion_mm(
    volumetric_water: ArrayLike,
    field_capacity: ArrayLike,
    wilting_point: ArrayLike,
    *,
    taw_mm: ArrayLike,
) -> Floats:
    """Depletion of the managed zone, if all of it were as wet as the soil at the sensor.

    Shapes: any four that broadcast.
    volumetric_water: as read in the wetted soil [m³ m⁻³]; taw_mm: what the full zone holds [mm].
    Returns: block depth [mm], 0 at field capacity and above, TAW at wilting point and below; NaN
    wherever an input is NaN.
    Equation: D = TAW (FC - theta) / (FC - WP), from FAO-56 Eq. 82 and the definition of depletion.
    >>> float(reading_depletion_mm(0.20, 0.24, 0.12, taw_mm=18.0))
    6.0
    """
    fc = np.asarray(field_capacity, dtype=np.float64)
    wp = np.asarray(wilting_point, dtype=np.float64)
    missing = (fc - np.asarray(volumetric_water, dtype=np.float64)) / (fc - wp)
    return np.asarray(np.asarray(taw_mm, dtype=np.float64) * np.clip(missing, 0.0, 1.0))


def reading_weight(
    top_depth_m: ArrayLike, bottom_depth_m: ArrayLike, root_depth_m: ArrayLike
) -> Floats:
    """Weight of a reading against the computed balance.

    Shapes: any three that broadcast.
    top_depth_m, bottom_depth_m: layer that the sensor measures [m], top above bottom; root_depth_m:
    depth of the managed zone [m], > 0.
    Returns: weight [-], 0 for a layer wholly below the roots, at most 0.8.
    Equation: w = 0.8 x share of the root depth that the layer covers. [CHOICE]
    >>> float(reading_weight(0.2, 0.4, 0.4))
    0.4
    """
    roots_m = np.asarray(root_depth_m, dtype=np.float64)
    top_m = np.asarray(top_depth_m, dtype=np.float64)
    inside_m = np.minimum(np.asarray(bottom_depth_m, dtype=np.float64), roots_m) - top_m
    return np.asarray(LARGEST_WEIGHT_FRACTION * np.clip(inside_m / roots_m, 0.0, 1.0))


def estimated_water(
    available_fraction: ArrayLike, field_capacity: ArrayLike, wilting_point: ArrayLike
) -> Floats:
    """Volumetric water of a soil of which somebody says how much of its water is left.

    Shapes: any three that broadcast.
    available_fraction: share of what plants can take up, 0 dry to 1 full.
    Returns: volumetric water [m³ m⁻³]; NaN wherever an input is NaN.
    Equation: WP + share x (FC - WP), the definition of available water.
    >>> round(float(estimated_water(0.5, 0.24, 0.12)), 3)
    0.18
    """
    point = np.asarray(wilting_point, dtype=np.float64)
    share = np.asarray(available_fraction, dtype=np.float64)
    return np.asarray(point + share * (np.asarray(field_capacity, dtype=np.float64) - point))


def correction_mm(
    depletion_end_mm: ArrayLike,
    *,
    compared_mm: ArrayLike,
    depletion_reading_mm: ArrayLike,
    weight_fraction: ArrayLike,
    taw_mm: ArrayLike,
) -> Floats:
    """What a reading adds to the depletion at the end of its day.

    Shapes: any five that broadcast.
    depletion_end_mm: computed end of the day; compared_mm: computed depletion at the time of the
    reading: the day's start for a reading before noon, its end for a later one [CHOICE].
    depletion_reading_mm, weight_fraction: what was read and how much it counts; taw_mm: bound.
    Returns: block depth [mm], negative where the soil is wetter than computed; the corrected
    depletion stays within 0..TAW. NaN wherever an input is NaN.
    Equation: D' = D + w (D_reading - D_compared), so (1 - w) D + w D_reading where D is the one
    compared. [CHOICE]
    >>> float(correction_mm(10.0, compared_mm=10.0, depletion_reading_mm=6.0, weight_fraction=0.5,
    ...     taw_mm=20.0))
    -2.0
    """
    end_mm = np.asarray(depletion_end_mm, dtype=np.float64)
    gap_mm = np.asarray(depletion_reading_mm, dtype=np.float64) - np.asarray(compared_mm)
    wanted_mm = end_mm + np.asarray(weight_fraction, dtype=np.float64) * gap_mm
    return np.asarray(np.clip(wanted_mm, 0.0, np.asarray(taw_mm)) - end_mm)
