"""Whether a supply can keep up: peak needs over many years, and what the supply can carry then.

In: need and depletion of the days of many summers. Out: the largest need over a run of days, the
need that is not exceeded in a share of years, the flow and area that go with it, and a designer's
usual figure for the peak to compare it with. Plotting positions after Weibull 1939, as common in
hydrology (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.records import Floats
from service.unit_sizes import M2_PER_HECTARE

KEEPING_TOLERANCE_MM = 1e-6  # [mm] rounding of sums of depths


def rolling_sum(depth_mm: ArrayLike, span_days: int) -> Floats:
    """Sum of a depth over each run of this many days.

    Shapes: depth_mm (days, ...); result (days - span + 1, ...), empty where days are too few.
    Returns: depth [mm]; NaN wherever a day of the run is NaN.
    Equation: addition.
    >>> rolling_sum([1.0, 2.0, 3.0], 2).tolist()
    [3.0, 5.0]
    """
    depth = np.asarray(depth_mm, dtype=np.float64)
    if depth.shape[0] < span_days:
        return np.empty((0, *depth.shape[1:]))
    windows = np.lib.stride_tricks.sliding_window_view(depth, span_days, axis=0)
    return np.asarray(windows.sum(axis=-1))


def peak_over_days(need_mm: ArrayLike, span_days: int) -> Floats:
    """Largest need over this many consecutive days; days with more rain than use lower it.

    Shapes: need_mm (days, ...), negative where rain exceeds use; result without the days.
    Returns: depth [mm], at least 0; 0 where there are too few days.
    Equation: max of :func:`rolling_sum`.
    >>> float(peak_over_days([4.0, -9.0, 5.0, 6.0], 2))
    11.0
    """
    sums = rolling_sum(need_mm, span_days)
    if sums.shape[0] == 0:
        return np.zeros(np.asarray(need_mm).shape[1:])
    return np.asarray(np.maximum(0.0, sums.max(axis=0)))


def not_passed_in(peak: ArrayLike, year_share: ArrayLike) -> Floats:
    """The value that is not exceeded in a share of years.

    Shapes: peak (years,), year_share any; the result has its shape.
    year_share: 0 to 1; 0.9 for what is not exceeded in nine years of ten.
    Returns: in the unit of the peaks; where there are too few years to say, the largest or the
    smallest peak; NaN without years.
    Equation: rank / (n + 1), straight between ranks. Weibull 1939, from memory.
    >>> not_passed_in([10.0, 20.0, 30.0], [0.5, 0.95]).tolist()
    [20.0, 30.0]
    """
    values = np.asarray(peak, dtype=np.float64)
    shares = np.asarray(year_share, dtype=np.float64)
    if values.size == 0:
        return np.full(shares.shape, np.nan)
    return np.asarray(np.quantile(values, shares, method="weibull"))


def needed_flow_l_per_h(
    gross_mm: ArrayLike, area_m2: ArrayLike, open_time_h: float, span_days: int
) -> Floats:
    """Flow that delivers a gross depth in this many days.

    Shapes: any two that broadcast.
    gross_mm: total over the days; open_time_h: hours a day in which water may run.
    Returns: flow [L/h], all open hours used.
    Equation: depth x area / time; 1 mm over 1 m2 is 1 L.
    >>> round(float(needed_flow_l_per_h(35.0, 10_000.0, 12.0, 7)), 3)
    4166.667
    """
    volume_l = np.asarray(gross_mm, dtype=np.float64) * np.asarray(area_m2, dtype=np.float64)
    return np.asarray(volume_l / (open_time_h * span_days))


def carried_area_ha(
    flow_l_per_h: float, gross_mm: ArrayLike, open_time_h: float, span_days: int
) -> Floats:
    """Area to which a supply can apply a gross depth in this many days.

    Shapes: gross_mm any; the result has its shape.
    Returns: area [ha], all open hours used; inf where nothing is needed.
    Equation: flow x time / depth.
    >>> round(float(carried_area_ha(36_000.0, 35.0, 12.0, 7)), 2)
    8.64
    """
    gross = np.asarray(gross_mm, dtype=np.float64)
    volume_l = flow_l_per_h * open_time_h * span_days
    with np.errstate(divide="ignore"):
        return np.asarray(volume_l / gross / M2_PER_HECTARE)


def peak_transpiration_mm(
    conventional_et_mm: ArrayLike, effective_cover_fraction: ArrayLike
) -> Floats:
    """Peak crop use as drip designers estimate it, from full-cover crop ET and the shaded ground.

    It is shown beside the peaks of the simulated summers and never used in a plan: the crop
    coefficients of the plan are already those of the block's own canopy.

    Shapes: any two that broadcast.
    conventional_et_mm: crop ET of the same plants if they covered the ground, over any time;
    effective_cover_fraction: ground in the shade of the plants at noon.
    Returns: depth over the same time [mm].
    Equation: Td = 0.1 Ud sqrt(Pd), Pd in percent. Keller & Bliesner 1990, from memory.
    >>> round(float(peak_transpiration_mm(7.0, 0.70)), 3)
    5.857
    """
    conventional = np.asarray(conventional_et_mm, dtype=np.float64)
    shaded_pct = 100.0 * np.asarray(effective_cover_fraction, dtype=np.float64)
    return np.asarray(0.1 * conventional * np.sqrt(shaded_pct))


def keeps_below_allowed(depletion_mm: Floats, raw_mm: Floats) -> NDArray[np.bool_]:
    """Whether a block stays within its readily available water on every day.

    Shapes: (days, blocks); result (blocks,).
    Returns: False wherever any evening exceeds it or is not known.
    Equation: D <= RAW.
    >>> keeps_below_allowed(np.array([[5.0], [9.0]]), np.array([[8.0], [8.0]])).tolist()
    [False]
    """
    kept: NDArray[np.bool_] = np.all(depletion_mm <= raw_mm + KEEPING_TOLERANCE_MM, axis=0)
    return kept
