"""What a site measured in earlier years on the days of a coming week that no forecast reaches.

In: sites and days. Out: their usual reference ET, and the rain of the year that is the middle of
those in which it rained.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.database.session import UnitOfWork
from service.operations.evening.past_weather import SETTLING_DAYS, measured_site_weather
from service.records.farms import SiteTable

MOST_YEARS = 10
"""[CHOICE] So many earlier years at most are looked at."""
LEAST_YEARS = 3
"""[CHOICE] With fewer of them nothing is said of a usual week."""
AROUND_DAYS = 7
"""[CHOICE] Days before and after whose reference ET counts as that of the day."""
DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class UsualWeek:
    """The days of a week as earlier years had them, arrays (days, sites)."""

    is_wanted: NDArray[np.bool_]
    """Days that no forecast reaches."""
    et0_mm: Floats
    """Mean of the years; NaN where too few are known."""
    rain_mm: Floats
    """On the days asked for, of the year with the middle sum of those with rain; else 0."""
    wet_share: Floats
    """(sites,) share of the years in which it rained on those days."""
    year_count: Ints
    """(sites,) years that are known; 0 where they are too few."""


def usual_week(
    unit: UnitOfWork,
    sites: SiteTable,
    days: Days,
    is_wanted: NDArray[np.bool_],
    *,
    source_order: Mapping[str, int],
) -> UsualWeek:
    """The usual weather of these days, where they are wanted, (days, sites).

    One reading of the archive for each year. Only what was measured counts; forecasts of days that
    nobody has reported since do not.
    """
    which = np.flatnonzero(is_wanted.any(axis=0))
    et0_mm, rain_mm = earlier_years(unit, sites, days, which, source_order=source_order)
    return _middle_of(et0_mm, rain_mm, is_wanted)


def earlier_years(
    unit: UnitOfWork,
    sites: SiteTable,
    days: Days,
    which: Ints,
    *,
    source_order: Mapping[str, int],
) -> tuple[Floats, Floats]:
    """Mean reference ET around these days, and their rain, as measured in each earlier year.

    Arrays (years, days, sites), the last year first; NaN where it is not known and at the sites
    that are not among ``which``.
    """
    et0_mm, rain_mm = np.full((2, MOST_YEARS, days.size, sites.keys.size), np.nan)
    keys, first, place = np.unique(sites.keys[which], return_index=True, return_inverse=True)
    if not keys.size:
        return et0_mm, rain_mm
    places = [sites.definitions[site] for site in which[first].tolist()]
    first_day = days[0].item()
    for year in range(MOST_YEARS):
        begin = first_day - timedelta(days=round((year + 1) * DAYS_PER_YEAR))
        span = np.datetime64(begin) + np.arange(
            -SETTLING_DAYS - AROUND_DAYS, days.size + AROUND_DAYS
        )
        found = measured_site_weather(unit.weather, keys, places, span, source_order)
        for day in range(days.size):
            at = SETTLING_DAYS + AROUND_DAYS + day
            near_mm = found.computed_et0_mm[at - AROUND_DAYS : at + AROUND_DAYS + 1]
            known = np.isfinite(near_mm)
            sums_mm = np.where(known, near_mm, 0.0).sum(axis=0)
            counts = known.sum(axis=0)
            mean_mm = np.where(counts > AROUND_DAYS, sums_mm / np.maximum(1, counts), np.nan)
            et0_mm[year, day, which] = mean_mm[place]
            rain_mm[year, day, which] = found.checked.rain_mm[at][place]
    return et0_mm, rain_mm


def _middle_of(et0_mm: Floats, rain_mm: Floats, is_wanted: NDArray[np.bool_]) -> UsualWeek:
    """``et0_mm`` and ``rain_mm`` (years, days, sites) of the earlier years."""
    wanted_mm = np.where(is_wanted, rain_mm, 0.0)
    is_known = np.logical_and.reduce(np.isfinite(et0_mm + wanted_mm), axis=1)
    years = is_known.sum(axis=0)
    year_count = np.where((years >= LEAST_YEARS) & is_wanted.any(axis=0), years, 0)
    has_years = year_count > 0
    sums_mm = np.where(is_known[:, np.newaxis], et0_mm, 0.0).sum(axis=0)
    totals_mm = np.where(is_known, np.nan_to_num(wanted_mm).sum(axis=1), 0.0)
    usual_rain_mm = np.zeros(is_wanted.shape)
    wet_count = (totals_mm > 0.0).sum(axis=0)
    for site in np.flatnonzero(has_years & (wet_count > 0)).tolist():
        by_total = np.argsort(totals_mm[:, site], kind="stable")[-wet_count[site] :]
        usual_rain_mm[:, site] = wanted_mm[by_total[wet_count[site] // 2], :, site]
    return UsualWeek(
        is_wanted=is_wanted,
        et0_mm=np.where(has_years, sums_mm / np.maximum(1, years), np.nan),
        rain_mm=usual_rain_mm,
        wet_share=np.where(has_years, wet_count / np.maximum(1, years), 0.0),
        year_count=year_count,
    )
