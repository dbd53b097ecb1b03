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


def near_clearness(measured_mj_m2: Floats, clear_sky_mj_m2: Floats, days: Days) -> Floats:
    """Median share of a clear sky's radiation that was measured on the days around each day.

    Shapes: measured and clear sky (days, sites), NaN where not measured or not plausible;
    days (days,), rising; result (days, sites).
    Returns: share [-]; NaN where fewer than three days within seven have a value.
    Source: the span and the count are choices of this service.
    >>> days = np.datetime64("2023-07-01") + np.arange(4)
    >>> measured = np.array([[21.0], [24.0], [np.nan], [27.0]])
    >>> round(float(near_clearness(measured, np.full((4, 1), 30.0), days)[2, 0]), 3)
    0.8
    """
    share = measured_mj_m2 / np.where(clear_sky_mj_m2 > 0.0, clear_sky_mj_m2, np.nan)
    near = np.full((2 * NEAR_DAYS + 1, *share.shape), np.nan)
    for place, shift in enumerate(range(-NEAR_DAYS, NEAR_DAYS + 1)):
        wanted = days + np.timedelta64(shift, "D")
        row = np.minimum(np.searchsorted(days, wanted), len(days) - 1)
        is_there = days[row] == wanted
        near[place, is_there] = share[row[is_there]]
    is_enough = np.isfinite(near).sum(axis=0) >= NEAR_DAY_COUNT
    result = np.full(share.shape, np.nan)
    result[is_enough] = np.nanmedian(near[:, is_enough], axis=0)
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
