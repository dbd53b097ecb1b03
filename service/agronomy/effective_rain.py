"""How much of a day's rain enters the soil that the drip manages.

In: rain and reference ET of each day, the soil batch. Out: block millimetres that enter the zone;
what the zone cannot hold is drained later, by the balance. The threshold is FAO-56 (Allen et al.
1998) chapter 8, the runoff that of the SCS curve number.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats, SoilBatch

IGNORED_RAIN_RATIO = 0.2  # FAO-56 ch. 8, text to Eq. 85: less than 0.2 ET0 evaporates
INITIAL_ABSTRACTION_RATIO = 0.2  # SCS curve number method, from memory


def runoff_mm(rain_mm: ArrayLike, curve_number: ArrayLike) -> Floats:
    """Runoff from a day's rain.

    Shapes: any two that broadcast.
    rain_mm: rain of the event, here of the day; curve_number: 1-100.
    Returns: depth [mm]; NaN wherever an input is NaN.
    Equation: (P - Ia)^2 / (P + 0.8 S) above Ia = 0.2 S, S = 25400 / CN - 254. SCS (from memory).
    >>> round(float(runoff_mm(50.0, 75.0)), 3)
    9.287
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    retention_mm = 25400.0 / np.asarray(curve_number, dtype=np.float64) - 254.0
    excess_mm = np.maximum(0.0, rain - INITIAL_ABSTRACTION_RATIO * retention_mm)
    # Without excess the divisor may be zero (no rain on CN 100); the result is then not used.
    divisor_mm = excess_mm + retention_mm
    return np.asarray(excess_mm**2 / np.where(divisor_mm > 0.0, divisor_mm, 1.0))


def rain_entering_mm(rain_mm: Floats, et0_mm: Floats, soil: SoilBatch) -> Floats:
    """Rain that enters the managed root zone.

    Shapes: rain_mm, et0_mm and result (days, blocks).
    et0_mm: reference ET of the same day; a day with less rain than a fifth of it counts as dry.
    Returns: block depth [mm]; NaN wherever rain or reference ET is NaN.
    Equation: 0 if P < 0.2 ET0, else (P - RO) g f_w [(1 - m) + m phi]; RO only where the soil
    batch has a curve number. FAO-56 ch. 8; mulch shares m and phi are choices.
    >>> from service.agronomy.records import SoilBatch
    >>> one = np.array([1.0])
    >>> soil = SoilBatch(one, one, one, one, 0.33 * one, one, one, 0.6 * one, np.nan * one)
    >>> rain = rain_entering_mm(np.array([[0.5], [12.0]]), np.array([[4.0], [2.0]]), soil)
    >>> rain.round(3).ravel().tolist()
    [0.0, 2.376]
    """
    mulch = soil.mulch_cover_fraction
    passing = (1.0 - mulch) + mulch * soil.mulch_rain_pass_fraction
    managed = soil.root_share_of_wetted * soil.wetted_fraction
    return effective_rain_mm(rain_mm, et0_mm, soil) * managed * passing


def effective_rain_mm(rain_mm: Floats, et0_mm: Floats, soil: SoilBatch) -> Floats:
    """Rain that enters bare ground.

    Shapes: rain_mm, et0_mm and result (days, blocks).
    Returns: depth [mm] over that ground; NaN wherever rain or reference ET is NaN.
    Equation: 0 if P < 0.2 ET0, else P - RO; RO only where the soil batch has a curve number.
    FAO-56 ch. 8.
    >>> from service.agronomy.records import SoilBatch
    >>> one = np.array([1.0])
    >>> soil = SoilBatch(*[one] * 8, 75.0 * one)
    >>> rain_mm = np.array([[0.5], [12.0], [50.0]])
    >>> effective_rain_mm(rain_mm, np.full((3, 1), 4.0), soil).round(3).ravel().tolist()
    [0.0, 12.0, 40.713]
    """
    has_runoff = np.isfinite(soil.curve_number)
    infiltrating_mm = rain_mm
    if np.any(has_runoff):
        lost_mm = runoff_mm(rain_mm, np.where(has_runoff, soil.curve_number, 1.0))
        infiltrating_mm = rain_mm - np.where(has_runoff, lost_mm, 0.0)
    entering = np.where(rain_mm < IGNORED_RAIN_RATIO * et0_mm, 0.0, infiltrating_mm)
    known: Floats = np.where(np.isnan(et0_mm), np.nan, entering)
    return known
