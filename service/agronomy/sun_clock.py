"""Whether the hours of a source follow the sun.

In: hourly radiation at a place. Out: by how many hours it is late. Hours shifted by a wrong zone
leave the day's sum and its highest temperature nearly as they are, but move rain, wind and the
night's minimum into another day.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats
from service.agronomy.sun import seasonal_correction_min

FEWEST_SUNNY_DAYS = 2
DARKEST_DAY_MJ_M2 = 3.0  # [CHOICE] less sun than that has no clear middle
HOURS_PER_DAY = 24


def sun_offset_h(
    middle_epoch_s: NDArray[np.int64], hourly_radiation: Floats, *, longitude_deg: float
) -> float:
    """By how many hours the middle of a source's sunlight is later than that of the sun.

    Shapes: middle_epoch_s, hourly_radiation (hours,), the middle of each hour in UTC.
    hourly_radiation: mean radiation of the hour [W/m2], NaN where not known.
    Returns: median over the days of the circular mean of the hours less solar noon, -12 to 12 [h];
    NaN with fewer than two days with sun in them.
    Equation: solar noon at 12:00 + (standard meridian - longitude) x 4 min - Sc, FAO-56 Eq. 31-33;
    the circular mean of the hours weighted by radiation (textbook).
    >>> hours = 1_782_864_000 + 3600 * np.arange(72) + 1800  # three days from 2026-07-01 00:00 UTC
    >>> sun = np.maximum(0.0, np.cos((hours / 3600 % 24 - 12.07) * np.pi / 12)) * 800
    >>> round(sun_offset_h(hours, sun, longitude_deg=0.0), 1)
    0.0
    >>> round(sun_offset_h(hours + 6 * 3600, sun, longitude_deg=0.0), 1)
    6.0
    """
    known = np.isfinite(hourly_radiation)
    if not known.any():
        return float("nan")
    seconds = middle_epoch_s[known].astype(np.float64)
    days = np.floor(seconds / 86_400.0).astype(np.int64).astype("datetime64[D]")
    correction_h = seasonal_correction_min(days) / 60.0
    solar_h = seconds / 3600.0 + longitude_deg / 15.0 + correction_h
    angle = (solar_h % HOURS_PER_DAY - 12.0) * np.pi / 12.0
    solar_day = np.floor(solar_h / HOURS_PER_DAY).astype(np.int64)
    _, place = np.unique(solar_day, return_inverse=True)
    weight = np.maximum(hourly_radiation[known], 0.0)
    east, north = (np.bincount(place, weight * part) for part in (np.sin(angle), np.cos(angle)))
    total_mj_m2 = np.bincount(place, weight) * 3600.0 / 1e6
    is_whole = np.bincount(place) >= HOURS_PER_DAY - 1
    is_sunny = is_whole & (total_mj_m2 >= DARKEST_DAY_MJ_M2)
    if int(is_sunny.sum()) < FEWEST_SUNNY_DAYS:
        return float("nan")
    late_h = np.arctan2(east[is_sunny], north[is_sunny]) * 12.0 / np.pi
    return float(np.median(late_h))
