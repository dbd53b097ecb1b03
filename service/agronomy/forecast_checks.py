"""Whether what a source issued can be held against what was observed at all.

In: pairs of issued and observed values of one place and source in the order of their days. Out: the
day from which they look as if in another unit, and the days that are missing. Nothing is corrected:
a changed unit is reported, and its pairs are not scored.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.agronomy.records import Days, Floats

FEWEST_SIDE_PAIRS = 5  # [CHOICE] pairs on each side of a day from which a change is looked for
UNIT_OFFSET_C = (
    12.0  # [CHOICE] °C, a median so far off is no error of a forecast; °F is 15 and more
)
UNIT_SCALE = 8.0  # [CHOICE] an inch is 25.4 mm; no forecast is off by so much over weeks
SAME_SCALE_LN = 0.05  # [CHOICE] logarithms of two scales that count as the same
FEWEST_RAIN_MM = 20.0  # [CHOICE] mm, observed, from which sums of rain can be compared


@dataclass(frozen=True, slots=True)
class UnitBreak:
    """From which day on a source looks as if it issued in another unit."""

    quantity: str
    """``temperature`` or ``rain``."""
    day: np.datetime64
    """The first day of the pairs if it never was the same unit."""


def find_unit_break(
    days: Days,
    issued_tmax_c: Floats,
    observed_tmax_c: Floats,
    issued_rain_mm: Floats,
    observed_rain_mm: Floats,
) -> UnitBreak | None:
    """The day from which issued values cannot be in the unit of the observed ones.

    Shapes: all (pairs,), in the order of the days, NaN where not known.
    Returns: UnitBreak, or None; temperatures are looked at first, since they show it in a few days.
    Source: [CHOICE] the median error of temperature passes ``UNIT_OFFSET_C``, or the ratio of the
    sums of rain passes ``UNIT_SCALE`` either way, before or after a day.
    >>> days = np.arange("2026-06-01", "2026-07-01", dtype="M8[D]")
    >>> warm, dry = np.full(30, 30.0), np.zeros(30)
    >>> issued = np.where(days >= np.datetime64("2026-06-21"), 86.0, 29.0)
    >>> str(find_unit_break(days, issued, warm, dry, dry).day)
    '2026-06-21'
    """
    both = np.isfinite(issued_tmax_c) & np.isfinite(observed_tmax_c)
    day = _first_off(days[both], issued_tmax_c[both] - observed_tmax_c[both])
    if day is not None:
        return UnitBreak("temperature", day)
    both = np.isfinite(issued_rain_mm) & np.isfinite(observed_rain_mm)
    day = _first_other_scale(days[both], issued_rain_mm[both], observed_rain_mm[both])
    return None if day is None else UnitBreak("rain", day)


def missing_days(days: Days, first_day: np.datetime64, last_day: np.datetime64) -> Days:
    """Days of a span for which there is no pair.

    Shapes: days (pairs,).
    Returns: days in order.
    >>> days = np.array(["2026-06-01", "2026-06-03"], "M8[D]")
    >>> missing_days(days, days[0], np.datetime64("2026-06-04")).astype(str).tolist()
    ['2026-06-02', '2026-06-04']
    """
    every = np.arange(first_day, last_day + 1, dtype="datetime64[D]")
    return every[~np.isin(every, days)]


def _first_off(days: Days, error_c: Floats) -> np.datetime64 | None:
    """The first day from which the errors of temperature stay far off, or ended to be."""
    off = np.abs(error_c) > UNIT_OFFSET_C
    if off.size < FEWEST_SIDE_PAIRS or off.sum() < FEWEST_SIDE_PAIRS:
        return None
    # A run of pairs that is off nearly always; single days of a heat wave are none.
    for start in range(off.size - FEWEST_SIDE_PAIRS + 1):
        if off[start] and off[start : start + FEWEST_SIDE_PAIRS].all():
            return np.datetime64(days[start], "D")
    return None


def _first_other_scale(days: Days, issued_mm: Floats, observed_mm: Floats) -> np.datetime64 | None:
    """The day that splits the pairs into two sums whose ratios differ by more than any forecast."""
    if observed_mm.sum() < FEWEST_RAIN_MM:
        return None
    issued, observed = np.cumsum(issued_mm), np.cumsum(observed_mm)
    whole = np.array([0])
    splits = np.concatenate([whole, np.arange(FEWEST_SIDE_PAIRS, days.size - FEWEST_SIDE_PAIRS)])
    before = np.where(splits > 0, splits - 1, 0)
    said = issued[-1] - np.where(splits > 0, issued[before], 0.0)
    fell = observed[-1] - np.where(splits > 0, observed[before], 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.abs(np.log((said + 1e-9) / fell))
    is_off = (fell >= FEWEST_RAIN_MM) & (said > 0.0) & (scale > np.log(UNIT_SCALE))
    if not is_off.any():
        return None
    # It began where the rest is furthest off; of equals, with the first.
    most = scale[is_off].max()
    began = np.flatnonzero(is_off & (scale >= most - SAME_SCALE_LN))[0]
    return np.datetime64(days[splits[began]], "D")
