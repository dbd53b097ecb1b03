"""Reference ET of days whose own weather does not give it: after places nearby, else what is usual.

In: the weather of a run as its own sites know it. Out: the same with its gaps closed, and how. In
an outage of more than ten days the days around say nothing any more. A place that had weather
before then takes that of earlier years, or of its last days scaled by the sun's height, so that a
plan is made all the same and says what it rests on.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from service.agronomy.reference_et_outage import outage_reference_et
from service.agronomy.site_weather import SiteWeather, with_stand_in_reference_et
from service.database.session import UnitOfWork
from service.operations.evening.earlier_weeks import earlier_years
from service.operations.evening.neighbour_weather import BorrowedWeather, borrow_from_neighbours
from service.operations.evening.past_weather import measured_site_weather
from service.operations.evening.site_columns import site_batch
from service.records.farms import SiteTable

LOOKED_BACK_DAYS = 365
"""[CHOICE] How long before the days at hand a place may have had its last weather."""


def close_gaps(
    unit: UnitOfWork,
    sites: SiteTable,
    weather: SiteWeather,
    *,
    is_observed: NDArray[np.bool_],
    first_future_row: int,
    source_order: Mapping[str, int],
) -> tuple[SiteWeather, BorrowedWeather | None]:
    """The weather with its gaps of reference ET closed, and what of it is that of places nearby.

    ``is_observed`` (days, sites): days that may be compared with a neighbour's.
    """
    weather, borrowed = borrow_from_neighbours(
        unit,
        sites,
        weather,
        is_observed=is_observed,
        first_future_row=first_future_row,
        source_order=source_order,
    )
    return _outages_bridged(unit, sites, weather, source_order=source_order), borrowed


def _outages_bridged(
    unit: UnitOfWork, sites: SiteTable, weather: SiteWeather, *, source_order: Mapping[str, int]
) -> SiteWeather:
    days = weather.days.days
    known_mm = weather.computed_et0_mm
    has_begun = np.logical_or.accumulate(np.isfinite(known_mm), axis=0)
    # Days before the first known one are a place's time before this service, unless none is known:
    # then it may have been longer without weather than these days go back.
    is_wanted = np.isnan(weather.days.et0_mm) & (has_begun | ~has_begun[-1])
    which = np.flatnonzero(is_wanted.any(axis=0))
    if not which.size:
        return weather
    keys, first, place = np.unique(sites.keys[which], return_index=True, return_inverse=True)
    definitions = [sites.definitions[site] for site in which[first].tolist()]
    before = days[0] + np.arange(-LOOKED_BACK_DAYS, 0)
    before_mm = measured_site_weather(
        unit.weather, keys, definitions, before, source_order
    ).computed_et0_mm[:, place]
    is_before = ~np.logical_or.accumulate(is_wanted[:, which], axis=0)
    all_known_mm = np.concatenate([before_mm, np.where(is_before, known_mm[:, which], np.nan)])
    has_past = np.isfinite(all_known_mm).any(axis=0)
    which, all_known_mm = which[has_past], all_known_mm[:, has_past]
    if not which.size:
        return weather
    rows = np.flatnonzero(is_wanted.any(axis=1))
    span = slice(rows[0], rows[-1] + 1)
    years_mm, _ = earlier_years(unit, sites, days[span], which, source_order=source_order)
    stand_in_mm = np.full(known_mm.shape, np.nan)
    stand_in_flags = np.zeros(known_mm.shape, dtype=np.int32)
    stand_in_mm[span, which], stand_in_flags[span, which] = outage_reference_et(
        days[span],
        years_mm[:, :, which],
        np.concatenate([before, days]),
        all_known_mm,
        latitude_deg=site_batch([sites.definitions[site] for site in which]).latitude_deg,
    )
    return with_stand_in_reference_et(
        weather, np.where(is_wanted, stand_in_mm, np.nan), stand_in_flags
    )
