"""A second, independent estimate of the crop coefficient, from the size of the canopy alone.

It is not used to schedule: it is the number that the page of a block shows beside the Kc that was
used, so that a grower sees when table and canopy disagree. In: cover and height of the canopy and
the climate of the day. Out: transpiration and evaporation parts of Kc for a block whose drip line
wets the ground every day or two. FAO-56 (Allen et al. 1998) chapters 7 and 9, Eq. 71-75 and 98-101.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.crop_water_use import BARE_SOIL_KC, height_factor
from service.agronomy.records import Floats

FREQUENT_WETTING_KC_MAX = 1.1  # FAO-56 ch. 7, on Eq. 72: wetted daily or every two days


def full_cover_basal_coefficient(height_m: ArrayLike, climate_term: ArrayLike) -> Floats:
    """Basal Kc that a canopy of this height would have if it covered the ground.

    Shapes: any two that broadcast.
    climate_term: addition of Eq. 62 at 3 m height [-].
    Returns: Kcb at full cover [-]; NaN wherever an input is NaN.
    Equation: min(1.0 + 0.1 h, 1.20) + term (h / 3)^0.3. FAO-56 Eq. 100, 101.
    >>> float(full_cover_basal_coefficient(1.5, 0.0))
    1.15
    """
    height = np.asarray(height_m, dtype=np.float64)
    table_value = np.minimum(1.0 + 0.1 * height, 1.20)
    return np.asarray(table_value + np.asarray(climate_term) * height_factor(height))


def basal_coefficient(
    cover_fraction: ArrayLike,
    effective_cover_fraction: ArrayLike,
    height_m: ArrayLike,
    *,
    full_cover_kc: ArrayLike,
) -> Floats:
    """Basal Kc of a canopy that covers only part of the ground.

    Shapes: any four that broadcast.
    cover_fraction: ground under the canopy; effective_cover_fraction: ground shaded at noon.
    full_cover_kc: basal Kc of the same canopy at full cover [-].
    Returns: Kcb [-]; NaN wherever an input is NaN.
    Equation: Kc_min + (Kcb_full - Kc_min) min(1, 2 fc, fc_eff^(1/(1+h))). FAO-56 Eq. 98.
    >>> round(float(basal_coefficient(0.3, 0.41, 2.0, full_cover_kc=1.15)), 2)  # Ex. 41
    0.75
    """
    cover = np.asarray(cover_fraction, dtype=np.float64)
    shaded = np.asarray(effective_cover_fraction, dtype=np.float64)
    height = np.asarray(height_m, dtype=np.float64)
    density = np.minimum(1.0, np.minimum(2.0 * cover, shaded ** (1.0 / (1.0 + height))))
    return np.asarray(BARE_SOIL_KC + (np.asarray(full_cover_kc) - BARE_SOIL_KC) * density)


def largest_coefficient(
    height_m: ArrayLike,
    climate_term: ArrayLike,
    basal_kc: ArrayLike,
    *,
    wetting_kc_max: float = FREQUENT_WETTING_KC_MAX,
) -> Floats:
    """Upper bound of Kc, set by the energy that reaches the ground.

    Shapes: any three that broadcast.
    wetting_kc_max: 1.1 where the ground is wetted at least every two days, else 1.2 [-].
    Returns: Kc max [-]; NaN wherever an input is NaN.
    Equation: max(k + term (h / 3)^0.3, Kcb + 0.05). FAO-56 Eq. 72.
    >>> float(largest_coefficient(3.0, 0.1, 0.9))
    1.2
    """
    by_climate = wetting_kc_max + np.asarray(climate_term) * height_factor(height_m)
    return np.asarray(np.maximum(by_climate, np.asarray(basal_kc) + 0.05))


def drip_evaporation_coefficient(
    cover_fraction: ArrayLike,
    wetted_fraction: ArrayLike,
    basal_kc: ArrayLike,
    *,
    kc_max: ArrayLike,
) -> Floats:
    """Evaporation part of Kc where drip under the canopy keeps part of the ground wet.

    Shapes: any four that broadcast.
    wetted_fraction: ground wetted by the drip; kc_max: upper bound of Kc [-].
    Returns: Ke [-] while the wetted strip stays wet (Kr = 1); NaN wherever an input is NaN.
    Equation: min(Kc_max - Kcb, few Kc_max), few = min(1 - fc, (1 - 0.67 fc) fw). FAO-56 Eq. 71,
    75 with its note on drip.
    >>> round(float(drip_evaporation_coefficient(0.53, 0.3, 0.9, kc_max=1.3)), 2)  # Ex. 34
    0.25
    """
    cover = np.asarray(cover_fraction, dtype=np.float64)
    largest = np.asarray(kc_max, dtype=np.float64)
    exposed_wet = np.minimum(1.0 - cover, (1.0 - 0.67 * cover) * np.asarray(wetted_fraction))
    return np.asarray(np.minimum(largest - np.asarray(basal_kc), exposed_wet * largest))


def expected_coefficient(
    cover_fraction: ArrayLike,
    height_m: ArrayLike,
    *,
    wetted_fraction: ArrayLike,
    climate_term: ArrayLike,
) -> tuple[Floats, Floats]:
    """Kc at full leaf expected from the canopy alone: transpiration and evaporation parts.

    Shapes: any four that broadcast; results have their common shape.
    cover_fraction: effective cover, used for both covers of Eq. 98;
    wetted_fraction: ground wetted by the drip; climate_term: addition of Eq. 62 at 3 m height [-].
    Returns: basal Kc and evaporation coefficient [-]; their sum is the estimate to compare. Not
    for crops whose leaves close more than grass (citrus, olive; FAO-56 Eq. 102).
    Equation: FAO-56 Eq. 98, 100 and 71-75, strip always wet.
    >>> parts = expected_coefficient(0.3, 2.0, wetted_fraction=0.3, climate_term=0.0)
    >>> [round(float(part), 3) for part in parts]
    [0.78, 0.264]
    """
    full_cover = full_cover_basal_coefficient(height_m, climate_term)
    basal = basal_coefficient(cover_fraction, cover_fraction, height_m, full_cover_kc=full_cover)
    largest = largest_coefficient(height_m, climate_term, basal)
    evaporation = drip_evaporation_coefficient(
        cover_fraction, wetted_fraction, basal, kc_max=largest
    )
    return basal, evaporation
