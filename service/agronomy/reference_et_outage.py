"""Reference ET of days in a long outage, from what the place itself has known.

In: known days of this season and of earlier years. Out: reference ET of the days that have none,
and what each rests on.
"""

import numpy as np
from numpy.typing import NDArray

from service.agronomy.atmosphere import extraterrestrial_radiation_mj_m2
from service.agronomy.records import Days, Floats
from service.agronomy.weather_flags import FieldFlag

SCALED_DAY_COUNT = 30  # [CHOICE] d, last known days whose mean is scaled by the sun
LEAST_SCALED_DAYS = 7  # [CHOICE] d, with fewer of them nothing is said


def outage_reference_et(
    days: Days,
    earlier_years_et0_mm: Floats,
    known_days: Days,
    known_et0_mm: Floats,
    *,
    latitude_deg: Floats,
) -> tuple[Floats, NDArray[np.int32]]:
    """Reference ET of days without weather: of earlier years, else of the last days by the sun.

    Shapes: days (days,); earlier_years_et0_mm (years, days, sites); known_days (known days,), in
    order;
    known_et0_mm (known days, sites); latitude_deg (sites,); results (days, sites).
    earlier_years_et0_mm: mean reference ET around the same day of each earlier year; known_et0_mm:
    reference ET of days before; both [mm d⁻¹], NaN where it is not known.
    Returns: ET0 [mm d⁻¹] and the flag that says what it rests on; NaN and 0 where nothing is known.
    Equation: mean of the years; without any, sum of the last thirty known days x Ra / sum of their
    Ra, Ra the radiation outside the atmosphere.
    Source: a choice of this service; ET0 in proportion to Ra as in Hargreaves' equation (FAO-56
    Eq. 52). Outages of 30 days cut into fifteen real stations: mean error of the outage's mean .45
    by one earlier year, .57 by the sun, .82 mm/d with the last seven days as they are; De Bilt,
    eight years: .21, .28, .49.
    >>> summer = np.arange("2023-06-01", "2023-07-01", dtype="M8[D]")
    >>> autumn = np.array(["2023-10-01"], "M8[D]")
    >>> et0_mm, flags = outage_reference_et(autumn, np.full((1, 1, 1), np.nan), summer,
    ...     np.full((30, 1), 5.0), latitude_deg=np.array([40.0]))
    >>> round(et0_mm.item(), 2), FieldFlag(flags.item()).name
    (3.11, 'SCALED_BY_SUN')
    """
    by_sun_mm = _scaled_by_sun(days, known_days, known_et0_mm, latitude_deg)
    is_year = np.isfinite(earlier_years_et0_mm)
    year_count = is_year.sum(axis=0)
    of_years_mm = np.where(is_year, earlier_years_et0_mm, 0.0).sum(axis=0) / np.maximum(
        1, year_count
    )
    has_years = year_count > 0
    et0_mm = np.where(has_years, of_years_mm, by_sun_mm)
    flags = np.where(
        has_years,
        np.int32(FieldFlag.NORMAL_OF_EARLIER_YEARS),
        np.where(np.isfinite(by_sun_mm), np.int32(FieldFlag.SCALED_BY_SUN), np.int32(0)),
    )
    return et0_mm, flags


def _scaled_by_sun(
    days: Days, known_days: Days, known_et0_mm: Floats, latitude_deg: Floats
) -> Floats:
    is_known = np.isfinite(known_et0_mm)
    since_last = np.cumsum(is_known[::-1], axis=0)[::-1]
    is_used = is_known & (since_last <= SCALED_DAY_COUNT)
    ra_mj_m2 = extraterrestrial_radiation_mj_m2(known_days, latitude_deg)
    used_ra_mj_m2 = np.where(is_used, ra_mj_m2, 0.0).sum(axis=0)
    is_enough = (is_used.sum(axis=0) >= LEAST_SCALED_DAYS) & (used_ra_mj_m2 > 0.0)
    share = np.where(is_used, known_et0_mm, 0.0).sum(axis=0) / np.where(
        is_enough, used_ra_mj_m2, 1.0
    )
    scaled: Floats = extraterrestrial_radiation_mj_m2(days, latitude_deg) * share
    return np.where(is_enough, scaled, np.nan)
