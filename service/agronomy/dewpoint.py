"""How far the dewpoint lies below the night minimum at a site, month by month.

In: daily weather with some humidity in it, and what the grower says. Out: twelve offsets a site,
which stand in for humidity on days without any. FAO-56 (Allen et al. 1998) Annex 6 takes the
minimum itself for the dewpoint, less 2 to 3 °C in dry places; a desert station was measured at 5.0
to 9.8 °C, month by month, so that what a site's own days show comes first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.climatology import MONTHS_PER_YEAR
from service.agronomy.records import Days, Floats, Ints

LEARNING_DAYS = 10  # [CHOICE] d with humidity in a month, of any year; fewer teach nothing
OFFSET_RANGE_C = (-5.0, 20.0)  # [degC] a median outside is taken as the limit


@dataclass(frozen=True, slots=True)
class DewpointOffsets:
    """Offsets of the dewpoint by month, arrays (12, sites)."""

    tdew_offset_c: Floats
    tdew_offset_days_count: Ints
    """Days with humidity that the offset was learned from; 0: given, or 0 for want of them."""


def dewpoint_c(ea_kpa: ArrayLike) -> Floats:
    """Dewpoint of air with this vapour pressure.

    Shapes: any; the result has the shape of the input.
    ea_kpa: actual vapour pressure [kPa], above 0.
    Returns: temperature [°C]; NaN wherever the input is NaN or not above 0.
    Equation: FAO-56 Eq. 11 solved for the temperature: 237.3 x / (17.27 - x), x = ln(ea / 0.6108).
    >>> round(float(dewpoint_c(2.062)), 2)  # FAO-56 Table 2.3: e0(18) = 2.064
    17.98
    """
    vapour = np.asarray(ea_kpa, dtype=np.float64)
    with np.errstate(invalid="ignore", divide="ignore"):
        logarithm = np.log(np.where(vapour > 0.0, vapour, np.nan) / 0.6108)
    return np.asarray(237.3 * logarithm / (17.27 - logarithm))


def months_of(days: Days) -> Ints:
    """Row of each day's month in a table of twelve.

    Shapes: days and result (days,).
    Returns: 0 for January to 11 for December.
    >>> months_of(np.array(["2025-02-28", "2025-12-01"], "M8[D]")).tolist()
    [1, 11]
    """
    month: Ints = days.astype("datetime64[M]").astype(np.int64) % MONTHS_PER_YEAR
    return month


def dewpoint_offsets(
    days: Days, tmin_c: Floats, measured_ea_kpa: Floats, *, own_c: Floats
) -> DewpointOffsets:
    """The offsets to use at each site: its own, else those that its days with humidity show.

    Shapes: days (days,); tmin_c, measured_ea_kpa (days, sites); own_c and the result (12, sites).
    measured_ea_kpa: NaN on days without humidity.
    own_c: what was given for the site, January to December; NaN: not given.
    Returns: DewpointOffsets. A month with fewer than ten days takes the offset of the nearest month
    that has them, the earlier of two; a site without any such month has 0, as FAO-56 for places
    that are not dry.
    Equation: median over the days of a month of Tmin - Tdew, [CHOICE].
    >>> days = np.arange("2025-07-01", "2025-07-13", dtype="M8[D]")
    >>> found = dewpoint_offsets(days, np.full((12, 1), 20.0), np.full((12, 1), 1.228),
    ...     own_c=np.full((12, 1), np.nan))
    >>> [round(float(value), 1) for value in found.tdew_offset_c[[0, 6], 0]]
    [10.0, 10.0]
    >>> found.tdew_offset_days_count[[0, 6], 0].tolist()
    [12, 12]
    """
    offset_c = tmin_c - dewpoint_c(measured_ea_kpa)
    month = months_of(days)
    shape = (MONTHS_PER_YEAR, tmin_c.shape[1])
    learned, counts = np.full(shape, np.nan), np.zeros(shape, dtype=np.int64)
    for row in np.unique(month).tolist():
        of_month = offset_c[month == row]
        counts[row] = np.isfinite(of_month).sum(axis=0)
        enough = counts[row] >= LEARNING_DAYS
        learned[row, enough] = np.nanmedian(of_month[:, enough], axis=0)
    source = _nearest_month(np.isfinite(learned))
    site = np.arange(shape[1])
    is_learned = source >= 0
    filled = np.where(is_learned, learned[source, site], 0.0)
    is_given = np.isfinite(own_c)
    return DewpointOffsets(
        tdew_offset_c=np.where(is_given, own_c, np.clip(filled, *OFFSET_RANGE_C)),
        tdew_offset_days_count=np.where(is_learned & ~is_given, counts[source, site], 0),
    )


def _nearest_month(is_known: NDArray[np.bool_]) -> Ints:
    """(12, sites) row of the nearest month that is known; -1 where none is."""
    found = np.full(is_known.shape, -1, dtype=np.int64)
    for step in (0, -1, 1, -2, 2, -3, 3, -4, 4, -5, 5, 6):
        for row in range(MONTHS_PER_YEAR):
            there = (row + step) % MONTHS_PER_YEAR
            found[row, (found[row] < 0) & is_known[there]] = there
    return found
