"""What to make of a day's radiation that is above that of a clear sky.

In: radiation, clear-sky radiation and night minimum of days by sites. Out: how clear the sky was on
the days around, and which days look like the record of a part of a day.
"""

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats

Mask = NDArray[np.bool_]

NEAR_DAYS = 7  # [d] [CHOICE] how far away the days may be that stand in
NEAR_DAY_COUNT = 3  # [-] [CHOICE] days that a median needs
PART_DAY_JUMP_C = 3.0  # [degC] [CHOICE] Tmin against both neighbours


def near_clearness(
    measured_mj_m2: Floats, clear_sky_mj_m2: Floats, days: Days, *, is_wanted: Mask
) -> Floats:
    """Median share of a clear sky's radiation that was measured on the days around single days.

    Shapes: measured, clear sky and is_wanted (days, sites), measured NaN where not known or not
    plausible; days (days,), rising; result (days, sites).
    Returns: share [-]; NaN where it is not wanted or fewer than three days within seven have one.
    Source: the span and the count are choices of this service.
    >>> days = np.datetime64("2023-07-01") + np.arange(4)
    >>> measured = np.array([[21.0], [24.0], [np.nan], [27.0]])
    >>> clear_sky = np.full((4, 1), 30.0)
    >>> near = near_clearness(measured, clear_sky, days, is_wanted=np.isnan(measured))
    >>> round(float(near[2, 0]), 3)
    0.8
    """
    result = np.full(measured_mj_m2.shape, np.nan)
    for row in np.flatnonzero(is_wanted.any(axis=1)).tolist():
        around = np.abs(days - days[row]) <= np.timedelta64(NEAR_DAYS, "D")
        share = measured_mj_m2[around] / clear_sky_mj_m2[around]
        is_found = is_wanted[row] & (np.isfinite(share).sum(axis=0) >= NEAR_DAY_COUNT)
        result[row, is_found] = np.nanmedian(share[:, is_found], axis=0)
    return result


def is_part_day(tmin_c: Floats, is_above_clear_sky: Mask, follows: Mask) -> Mask:
    """Days with too much sun on which Tmin differs from both neighbours to the same side.

    Shapes: tmin_c and is_above_clear_sky (days, sites); follows (days,), whether a day comes right
    after the one before it; result (days, sites).
    A station that was off for a part of the day gives such a pair: a mean of the radiation of the
    other part, and a minimum that is not that of the night.
    Returns: True for such a day.
    Source: 3 degC are a choice of this service.
    >>> tmin = np.array([[4.3], [2.0], [8.6], [4.3]])
    >>> is_above = np.array([[False], [False], [True], [False]])
    >>> is_part_day(tmin, is_above, np.array([False, True, True, True])).ravel().tolist()
    [False, False, True, False]
    """
    change = np.zeros(tmin_c.shape)
    change[1:] = np.where(follows[1:, np.newaxis], tmin_c[1:] - tmin_c[:-1], 0.0)
    back = np.zeros(tmin_c.shape)
    back[:-1] = -change[1:]
    is_alone = (np.minimum(change, back) > PART_DAY_JUMP_C) | (
        np.maximum(change, back) < -PART_DAY_JUMP_C
    )
    return np.asarray(is_alone & is_above_clear_sky)
