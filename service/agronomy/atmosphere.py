"""Air and radiation formulas of FAO-56 that several steps share.

In: temperature, humidity, wind, elevation, latitude and day numbers as arrays. Out: vapour
pressure, wind at 2 m, and the daily radiation that reaches the top of the atmosphere, or the
ground under a clear sky. Every formula is that of Allen, Pereira, Raes and Smith 1998, FAO
Irrigation and Drainage Paper 56 (FAO-56); the docstring gives its equation number.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.records import Floats

SOLAR_CONSTANT_MJ_PER_M2_MIN = 0.0820  # [MJ m-2 min-1] FAO-56 Eq. 21
ANGSTROM_OVERCAST_FRACTION = 0.25  # [-] FAO-56 Eq. 35, a_s where no calibration exists
ANGSTROM_SUNSHINE_FRACTION = 0.50  # [-] FAO-56 Eq. 35, b_s where no calibration exists


def saturation_vapour_pressure_kpa(temperature_c: ArrayLike) -> Floats:
    """Vapour pressure of air that holds all the water it can at this temperature.

    Shapes: any; the result has the shape of the input.
    temperature_c: air or dewpoint temperature [°C].
    Returns: pressure [kPa]; NaN wherever the input is NaN.
    Equation: 0.6108 exp(17.27 T / (T + 237.3)). FAO-56 Eq. 11; of the dewpoint, Eq. 14.
    >>> float(saturation_vapour_pressure_kpa(0.0))
    0.6108
    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))


def mean_saturation_vapour_pressure_kpa(tmax_c: ArrayLike, tmin_c: ArrayLike) -> Floats:
    """Saturation vapour pressure of a whole day, the mean of those at its two extremes.

    Shapes: any two that broadcast.
    Returns: pressure [kPa]; NaN wherever an input is NaN.
    Equation: (e0(Tmax) + e0(Tmin)) / 2. FAO-56 Eq. 12.
    >>> round(float(mean_saturation_vapour_pressure_kpa(24.5, 15.0)), 2)
    2.39
    """
    return np.asarray(
        (saturation_vapour_pressure_kpa(tmax_c) + saturation_vapour_pressure_kpa(tmin_c)) / 2.0
    )


def wind_at_2m_m_s(wind_m_s: ArrayLike, wind_height_m: ArrayLike) -> Floats:
    """Wind speed at 2 m above grass from the speed measured at another height.

    Shapes: any two that broadcast.
    wind_m_s: speed at the sensor [m s⁻¹]; wind_height_m: sensor above the ground [m], >= 0.5.
    Returns: speed [m s⁻¹]; NaN wherever an input is NaN.
    Equation: u 4.87 / ln(67.8 z - 5.42). FAO-56 Eq. 47.
    >>> round(float(wind_at_2m_m_s(3.2, 10.0)), 1)
    2.4
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    height = np.asarray(wind_height_m, dtype=np.float64)
    return np.asarray(wind * 4.87 / np.log(67.8 * height - 5.42))


def day_number(days: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Day of the year, 1 on 1 January, 365 or 366 on 31 December.

    Shapes: days (days,); result (days,).
    Returns: count [-].
    Source: the J of FAO-56 Eq. 22.
    >>> [int(number) for number in day_number(np.array(["2023-09-03", "2024-12-31"], "M8[D]"))]
    [246, 366]
    """
    civil = days.astype("datetime64[D]")
    return np.asarray((civil - civil.astype("datetime64[Y]")).astype(np.int64) + 1)


def solar_declination_rad(days: NDArray[np.datetime64]) -> Floats:
    """Angle between the sun's rays and the plane of the equator.

    Shapes: days (days,); result (days,).
    Returns: angle [rad].
    Equation: 0.409 sin(2 pi J / 365 - 1.39). FAO-56 Eq. 24.
    >>> round(float(solar_declination_rad(np.array(["2023-09-03"], "M8[D]"))[0]), 3)
    0.12
    """
    return np.asarray(0.409 * np.sin(2.0 * np.pi * day_number(days) / 365.0 - 1.39))


def sunset_hour_angle_rad(days: NDArray[np.datetime64], latitude_deg: ArrayLike) -> Floats:
    """Hour angle at which the sun sets; 0 in the polar night, pi in the polar day.

    Shapes: days (days,); latitude (sites,) or one number; result (days, sites).
    Returns: angle [rad]; NaN wherever the latitude is NaN.
    Equation: arccos(-tan(latitude) tan(declination)), its argument limited to -1..1. FAO-56 Eq. 25.
    >>> angle = sunset_hour_angle_rad(np.array(["2023-09-03"], "M8[D]"), -20.0)
    >>> round(float(angle[0, 0]), 3)
    1.527
    """
    latitude = np.radians(np.atleast_1d(np.asarray(latitude_deg, dtype=np.float64)))
    declination = solar_declination_rad(days)[:, np.newaxis]
    return np.asarray(np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0)))


def daylight_hours(days: NDArray[np.datetime64], latitude_deg: ArrayLike) -> Floats:
    """Hours from sunrise to sunset, the longest possible sunshine of each day.

    Shapes: days (days,); latitude (sites,) or one number; result (days, sites).
    Returns: duration [h], 0 to 24; NaN wherever the latitude is NaN.
    Equation: 24 / pi times the sunset hour angle. FAO-56 Eq. 34.
    >>> round(float(daylight_hours(np.array(["2023-09-03"], "M8[D]"), -20.0)[0, 0]), 1)
    11.7
    """
    return np.asarray(24.0 / np.pi * sunset_hour_angle_rad(days, latitude_deg))


def extraterrestrial_radiation_mj_m2(
    days: NDArray[np.datetime64], latitude_deg: ArrayLike
) -> Floats:
    """Solar radiation on a level surface outside the atmosphere.

    Shapes: days (days,); latitude (sites,) or one number; result (days, sites).
    Returns: daily sum [MJ m⁻²]; NaN wherever the latitude is NaN.
    Equation: 24 60 / pi 0.0820 dr (ws sin(phi) sin(d) + cos(phi) cos(d) sin(ws)).
    FAO-56 Eq. 21, 23.
    >>> sum_mj = extraterrestrial_radiation_mj_m2(np.array(["2023-09-03"], "M8[D]"), -20.0)
    >>> round(float(sum_mj[0, 0]), 1)
    32.2
    """
    latitude = np.radians(np.atleast_1d(np.asarray(latitude_deg, dtype=np.float64)))
    declination = solar_declination_rad(days)[:, np.newaxis]
    sunset_angle = sunset_hour_angle_rad(days, latitude_deg)
    relative_distance = 1.0 + 0.033 * np.cos(2.0 * np.pi * day_number(days) / 365.0)
    geometry = sunset_angle * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.sin(sunset_angle)
    daily = 24.0 * 60.0 / np.pi * SOLAR_CONSTANT_MJ_PER_M2_MIN
    # Rounding leaves -1e-16 in the polar night; radiation is never negative.
    return np.asarray(np.maximum(daily * relative_distance[:, np.newaxis] * geometry, 0.0))


def clear_sky_radiation_mj_m2(
    days: NDArray[np.datetime64], latitude_deg: ArrayLike, elevation_m: ArrayLike
) -> Floats:
    """Solar radiation that reaches the ground on a day without clouds.

    Shapes: days (days,); latitude and elevation (sites,) or one number; result (days, sites).
    Returns: daily sum [MJ m⁻²]; NaN wherever an input is NaN.
    Equation: (0.75 + 2e-5 z) Ra. FAO-56 Eq. 37.
    >>> sum_mj = clear_sky_radiation_mj_m2(np.array(["2023-07-06"], "M8[D]"), 50.8, 100.0)
    >>> round(float(sum_mj[0, 0]), 1)
    30.9
    """
    elevation = np.atleast_1d(np.asarray(elevation_m, dtype=np.float64))
    return np.asarray(
        (0.75 + 2e-5 * elevation) * extraterrestrial_radiation_mj_m2(days, latitude_deg)
    )


def radiation_from_sunshine_mj_m2(
    sunshine_h: ArrayLike, daylight_h: ArrayLike, extraterrestrial_mj_m2: ArrayLike
) -> Floats:
    """Solar radiation estimated from the hours of bright sunshine.

    Shapes: any three that broadcast.
    sunshine_h: hours of sunshine [h], 0 to daylight_h; daylight_h: possible hours [h].
    Returns: daily sum [MJ m⁻²]; NaN wherever an input is NaN, except that sunshine is ignored
    where the sun does not rise.
    Equation: (0.25 + 0.50 n / N) Ra. FAO-56 Eq. 35.
    >>> float(radiation_from_sunshine_mj_m2(6.0, 12.0, 40.0))
    20.0
    """
    sunshine = np.asarray(sunshine_h, dtype=np.float64)
    daylight = np.asarray(daylight_h, dtype=np.float64)
    share = np.where(daylight > 0.0, sunshine / np.where(daylight > 0.0, daylight, 1.0), 0.0)
    return np.asarray(
        (ANGSTROM_OVERCAST_FRACTION + ANGSTROM_SUNSHINE_FRACTION * share)
        * np.asarray(extraterrestrial_mj_m2, dtype=np.float64)
    )


def radiation_from_temperature_range_mj_m2(
    tmax_c: ArrayLike,
    tmin_c: ArrayLike,
    extraterrestrial_mj_m2: ArrayLike,
    *,
    krs_per_sqrt_c: ArrayLike,
) -> Floats:
    """Solar radiation estimated from the day's temperature range, not yet capped at clear sky.

    Shapes: any that broadcast.
    krs_per_sqrt_c: adjustment [°C^-0.5], 0.16 inland, 0.19 near a coast.
    Returns: daily sum [MJ m⁻²]; NaN wherever an input is NaN.
    Equation: kRs sqrt(Tmax - Tmin) Ra. FAO-56 Eq. 50 (Hargreaves and Samani).
    >>> float(radiation_from_temperature_range_mj_m2(25.0, 9.0, 40.0, krs_per_sqrt_c=0.16))
    25.6
    """
    warming = np.asarray(tmax_c, dtype=np.float64) - np.asarray(tmin_c, dtype=np.float64)
    return np.asarray(
        np.asarray(krs_per_sqrt_c, dtype=np.float64)
        * np.sqrt(warming)
        * np.asarray(extraterrestrial_mj_m2, dtype=np.float64)
    )
