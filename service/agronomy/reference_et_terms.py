"""The terms of a day's reference ET one by one, as a reader works them out again by hand.

Nothing is planned with them: plans take ET0 from ``reference_et``. In: the checked weather of one
day at one site. Out: the numbers between that weather and its ET0, by their names in the
nomenclature. Publication: Allen, Pereira, Raes and Smith 1998, FAO-56, chapters 3 and 4.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    day_number,
    extraterrestrial_radiation_mj_m2,
    mean_saturation_vapour_pressure_kpa,
    saturation_vapour_pressure_kpa,
)
from service.agronomy.weather_day import WIND_FLOOR_M_S

STEFAN_BOLTZMANN_MJ_M2 = 4.903e-9  # [MJ K-4 m-2 d-1] FAO-56 Eq. 39
FREEZING_POINT_K = 273.16  # [K] as FAO-56 Eq. 39 rounds it
GRASS_ALBEDO = 0.23  # [-] FAO-56 Eq. 38
CLOUD_RATIO_LIMITS = (0.3, 1.0)  # [-] of Rs / Rso, as in the library that plans use


@dataclass(frozen=True, slots=True)
class ReferenceEtTerms:
    """Everything between a day's weather and its reference ET; NaN where it is not known."""

    latitude_deg: float
    elevation_m: float
    day_number: float
    """1 on 1 January."""
    extraterrestrial_mj_m2: float
    """Ra."""
    clear_sky_mj_m2: float
    """Rso."""
    mean_temperature_c: float = math.nan
    es_kpa: float = math.nan
    used_ea_kpa: float = math.nan
    """Not above saturation."""
    used_u2_m_s: float = math.nan
    """Not below 0.5 m/s."""
    slope_kpa_per_c: float = math.nan
    """Delta."""
    psychrometric_kpa_per_c: float = math.nan
    """Gamma."""
    net_shortwave_mj_m2: float = math.nan
    clearness_ratio: float = math.nan
    """Rs / Rso within its limits."""
    net_longwave_mj_m2: float = math.nan
    net_radiation_mj_m2: float = math.nan
    worked_et0_mm: float = math.nan
    """ET0 that follows; a stored one that differs was filled in, not computed."""


def reference_et_terms(
    weather: Mapping[str, float | None], day: date, *, latitude_deg: float, elevation_m: float
) -> ReferenceEtTerms:
    """Everything between a day's weather and its reference ET.

    Shapes: one day of one site; weather by the names of the nomenclature.
    Returns: the terms; of a day whose weather is not known in full, those of place and day alone.
    Equation: FAO-56 Eq. 6-8, 11-13, 21, 37-40, soil heat flux 0 (Eq. 42).
    >>> weather = {"tmax_c": 21.5, "tmin_c": 12.3, "ea_kpa": 1.409, "u2_m_s": 2.078}
    >>> terms = reference_et_terms(weather | {"rs_mj_m2": 22.07}, date(2023, 7, 6),
    ...     latitude_deg=50.8, elevation_m=100.0)
    >>> round(terms.net_radiation_mj_m2, 2), round(terms.worked_et0_mm, 2)  # Ex. 18
    (13.28, 3.88)
    """
    days = np.array([day], dtype="datetime64[D]")
    top_mj_m2 = float(extraterrestrial_radiation_mj_m2(days, latitude_deg)[0, 0])
    clear_mj_m2 = float(clear_sky_radiation_mj_m2(days, latitude_deg, elevation_m)[0, 0])
    place = ReferenceEtTerms(
        latitude_deg=latitude_deg,
        elevation_m=elevation_m,
        day_number=float(day_number(days)[0]),
        extraterrestrial_mj_m2=top_mj_m2,
        clear_sky_mj_m2=clear_mj_m2,
    )
    known = [weather.get(name) for name in ("tmax_c", "tmin_c", "ea_kpa", "u2_m_s", "rs_mj_m2")]
    values = [math.nan if value is None else value for value in known]
    if any(math.isnan(value) for value in values):
        return place
    tmax_c, tmin_c, ea_kpa, u2_m_s, rs_mj_m2 = values
    mean_c = (tmax_c + tmin_c) / 2.0
    es_kpa = float(mean_saturation_vapour_pressure_kpa(tmax_c, tmin_c))
    ea_kpa, u2_m_s = min(ea_kpa, es_kpa), max(u2_m_s, WIND_FLOOR_M_S)
    slope = 4098.0 * float(saturation_vapour_pressure_kpa(mean_c)) / (mean_c + 237.3) ** 2
    gamma = 0.665e-3 * 101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26
    clearness = _clearness(rs_mj_m2, clear_mj_m2)
    net_short = (1.0 - GRASS_ALBEDO) * rs_mj_m2
    net_long = _net_longwave_mj_m2(tmax_c, tmin_c, ea_kpa, clearness)
    net = net_short - net_long
    by_air = gamma * 900.0 / (mean_c + 273.0) * u2_m_s * (es_kpa - ea_kpa)
    worked_mm = (0.408 * slope * net + by_air) / (slope + gamma * (1.0 + 0.34 * u2_m_s))
    return replace(
        place,
        mean_temperature_c=mean_c,
        es_kpa=es_kpa,
        used_ea_kpa=ea_kpa,
        used_u2_m_s=u2_m_s,
        slope_kpa_per_c=slope,
        psychrometric_kpa_per_c=gamma,
        net_shortwave_mj_m2=net_short,
        clearness_ratio=clearness,
        net_longwave_mj_m2=net_long,
        net_radiation_mj_m2=net,
        worked_et0_mm=max(0.0, worked_mm),
    )


def _clearness(rs_mj_m2: float, clear_mj_m2: float) -> float:
    lowest, highest = CLOUD_RATIO_LIMITS
    return min(highest, max(lowest, rs_mj_m2 / clear_mj_m2)) if clear_mj_m2 > 0.0 else highest


def _net_longwave_mj_m2(tmax_c: float, tmin_c: float, ea_kpa: float, clearness: float) -> float:
    """FAO-56 Eq. 39."""
    warm, cold = tmax_c + FREEZING_POINT_K, tmin_c + FREEZING_POINT_K
    radiated = STEFAN_BOLTZMANN_MJ_M2 * (warm**4 + cold**4) / 2.0
    return radiated * (0.34 - 0.14 * math.sqrt(ea_kpa)) * (1.35 * clearness - 0.35)
