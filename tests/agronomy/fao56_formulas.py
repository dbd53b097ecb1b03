"""Formulas of FAO-56 that the published examples pass through, beside the ones of the service.

pyet computes these steps inside its own call, so the service has no use for them; the worked
examples of FAO-56 give their results, which are checked here. Publication: Allen, Pereira, Raes and
Smith 1998, FAO Irrigation and Drainage Paper 56.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.records import Floats

MM_PER_MJ_PER_M2 = 0.408  # [mm per MJ m-2], 1 / (2.45 MJ/kg), FAO-56 Eq. 20
PSYCHROMETRIC_PER_KPA = 0.000665  # [per degC] FAO-56 Eq. 8


def atmospheric_pressure_kpa(elevation_m: ArrayLike) -> Floats:
    """Mean air pressure at an elevation above sea level.

    Shapes: any; the result has the shape of the input.
    Returns: pressure [kPa]; NaN wherever the input is NaN.
    Equation: 101.3 ((293 - 0.0065 z) / 293)^5.26. FAO-56 Eq. 7.
    >>> float(atmospheric_pressure_kpa(0.0))
    101.3
    """
    elevation = np.asarray(elevation_m, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * elevation) / 293.0) ** 5.26)


def psychrometric_constant_kpa_per_c(elevation_m: ArrayLike) -> Floats:
    """Psychrometric constant at a height above the sea.

    Shapes: any; the result has the shape of the input.
    Returns: constant [kPa °C⁻¹]; NaN wherever the input is NaN.
    Equation: 0.000665 P. FAO-56 Eq. 8.
    >>> round(float(psychrometric_constant_kpa_per_c(0.0)), 4)
    0.0674
    """
    return np.asarray(PSYCHROMETRIC_PER_KPA * atmospheric_pressure_kpa(elevation_m))


def vapour_pressure_from_wet_bulb_kpa(
    dry_bulb_c: ArrayLike, wet_bulb_c: ArrayLike, elevation_m: ArrayLike
) -> Floats:
    """Vapour pressure from an aspirated psychrometer.

    Shapes: any three that broadcast.
    dry_bulb_c, wet_bulb_c: readings of the two thermometers [°C], wet <= dry.
    Returns: pressure [kPa]; NaN wherever an input is NaN.
    Equation: e0(Twet) - 0.000662 P (Tdry - Twet). FAO-56 Eq. 15, 16 (Asmann type).
    >>> float(vapour_pressure_from_wet_bulb_kpa(0.0, 0.0, 0.0))
    0.6108
    """
    dry_bulb = np.asarray(dry_bulb_c, dtype=np.float64)
    wet_bulb = np.asarray(wet_bulb_c, dtype=np.float64)
    pressure = atmospheric_pressure_kpa(elevation_m)
    return np.asarray(
        saturation_vapour_pressure_kpa(wet_bulb) - 0.000662 * pressure * (dry_bulb - wet_bulb)
    )


def net_longwave_radiation_mj_m2(
    tmax_c: ArrayLike, tmin_c: ArrayLike, ea_kpa: ArrayLike, *, relative_shortwave: ArrayLike
) -> Floats:
    """Heat radiation that the reference grass loses to the sky.

    Shapes: any that broadcast.
    relative_shortwave: solar over clear-sky radiation [-], above 1 counts as 1.
    Returns: daily sum, outgoing counted positive [MJ m⁻²]; NaN wherever an input is NaN.
    Equation: s (Tmax^4 + Tmin^4) / 2 (0.34 - 0.14 sqrt(ea)) (1.35 Rs/Rso - 0.35). FAO-56 Eq. 39.
    >>> round(float(net_longwave_radiation_mj_m2(25.1, 19.1, 2.1, relative_shortwave=0.77)), 1)
    3.5
    """
    hottest = np.asarray(tmax_c, dtype=np.float64) + 273.16
    coldest = np.asarray(tmin_c, dtype=np.float64) + 273.16
    emitted = 4.903e-9 * (hottest**4 + coldest**4) / 2.0  # [MJ m-2 d-1] Stefan-Boltzmann
    humidity = 0.34 - 0.14 * np.sqrt(np.asarray(ea_kpa, dtype=np.float64))
    cloudiness = 1.35 * np.minimum(np.asarray(relative_shortwave, dtype=np.float64), 1.0) - 0.35
    return np.asarray(emitted * humidity * cloudiness)


def hargreaves_et_mm(
    tmax_c: ArrayLike, tmin_c: ArrayLike, extraterrestrial_mj_m2: ArrayLike
) -> Floats:
    """Reference ET from temperature alone, to cross-check the full method against.

    Shapes: any three that broadcast.
    extraterrestrial_mj_m2: radiation above the air [MJ m⁻²].
    Returns: ET0 [mm d⁻¹], never below 0; NaN wherever an input is NaN.
    Equation: 0.0023 (Tmean + 17.8) sqrt(Tmax - Tmin) 0.408 Ra. FAO-56 Eq. 52.
    >>> round(float(hargreaves_et_mm(26.6, 14.8, 40.55)), 1)
    5.0
    """
    tmax = np.asarray(tmax_c, dtype=np.float64)
    tmin = np.asarray(tmin_c, dtype=np.float64)
    evaporable = MM_PER_MJ_PER_M2 * np.asarray(extraterrestrial_mj_m2, dtype=np.float64)
    et0 = 0.0023 * ((tmax + tmin) / 2.0 + 17.8) * np.sqrt(tmax - tmin) * evaporable
    return np.maximum(et0, 0.0)
