"""Sunrise and sunset at a block; the day's ET is spread between them.

In: civil days, latitude, longitude and the UTC instant of local midnight. Out: sunrise and sunset
as elapsed minutes since local midnight. Geometry of Allen et al. 1998, FAO-56, Eq. 24, 25, 31 to
33. It treats the sun as a point and ignores
refraction, so sunrise comes later and sunset earlier than in the almanac: by 3 to 8 minutes each
at latitudes of 26 to 36 degrees, by 6 to 15 at 55, which is harmless for spreading ET.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.atmosphere import day_number, sunset_hour_angle_rad
from service.agronomy.records import Floats
from service.unit_sizes import MINUTES_PER_DAY

MINUTES_PER_DEGREE = 4.0  # [min per degree of longitude], 24 h over 360 degrees


def seasonal_correction_min(days: NDArray[np.datetime64]) -> Floats:
    """Equation of time: how far the sun runs ahead of the clock on each day.

    Shapes: days (days,); result (days,).
    Returns: correction [min], positive when solar noon comes early.
    Equation: 60 (0.1645 sin 2b - 0.1255 cos b - 0.025 sin b), b = 2 pi (J - 81) / 364.
    FAO-56 Eq. 32, 33.
    >>> round(float(seasonal_correction_min(np.array(["2023-03-22"], "M8[D]"))[0]), 2)
    -7.53
    """
    angle = 2.0 * np.pi * (day_number(days) - 81) / 364.0
    return np.asarray(
        60.0 * (0.1645 * np.sin(2.0 * angle) - 0.1255 * np.cos(angle) - 0.025 * np.sin(angle))
    )


def sunrise_sunset_min(
    days: NDArray[np.datetime64],
    latitude_deg: ArrayLike,
    longitude_deg: ArrayLike,
    *,
    midnight_utc_min: ArrayLike,
) -> tuple[Floats, Floats]:
    """Sunrise and sunset of each civil day at each site.

    Shapes: days (days,); latitude and longitude (sites,); midnight and results (days, sites).
    longitude_deg: degrees east of Greenwich, west negative.
    midnight_utc_min: minutes from 00:00 UTC of the same date to local midnight, +300 for UTC-5.
    Returns: two arrays of elapsed minutes since local midnight [min], within 0 to 1440; NaN
    wherever an input is NaN. In the polar night both are solar noon, so the day has no length; in
    the polar day they are 0 and 1440. A sunset after midnight (far north, early summer) is 1440.
    Equation: noon -/+ 12 h / pi arccos(-tan(phi) tan(d)); noon from longitude and the seasonal
    correction. FAO-56 Eq. 24, 25, 31, 32, 33.
    >>> day = np.array(["2023-09-03"], "M8[D]")
    >>> rise, fall = sunrise_sunset_min(day, [-20.0], [0.0], midnight_utc_min=[[0.0]])
    >>> round(float(fall[0, 0] - rise[0, 0]) / 60.0, 1)
    11.7
    """
    longitude = np.atleast_1d(np.asarray(longitude_deg, dtype=np.float64))
    midnight = np.asarray(midnight_utc_min, dtype=np.float64)
    noon_utc = (
        MINUTES_PER_DAY / 2.0
        - seasonal_correction_min(days)[:, np.newaxis]
        - MINUTES_PER_DEGREE * longitude
    )
    # Near the date line the noon of the UTC date can be that of the neighbouring civil day.
    noon = np.mod(noon_utc - midnight, MINUTES_PER_DAY)
    half_day = MINUTES_PER_DAY / (2.0 * np.pi) * sunset_hour_angle_rad(days, latitude_deg)
    always_up = half_day >= MINUTES_PER_DAY / 2.0
    sunrise = np.where(always_up, 0.0, np.maximum(noon - half_day, 0.0))
    sunset = np.where(always_up, MINUTES_PER_DAY, np.minimum(noon + half_day, MINUTES_PER_DAY))
    unknown = np.isnan(noon + half_day)
    return np.where(unknown, np.nan, sunrise), np.where(unknown, np.nan, sunset)
