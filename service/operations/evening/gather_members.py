"""The courses that the coming weather may take at the sites of a run.

In: the weather of the run, as it was gathered. Out: a :class:`MemberBatch` whose sites are the
columns of that weather. Where no ensemble is at hand, members are made from the chance of rain and
the amount of the forecast in use; where there is no forecast either, a site has none.
"""

from __future__ import annotations

import zlib
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.rain_members import PlainForecast, members_of_forecast
from service.agronomy.weather_choice import NO_ROW
from service.agronomy.weather_members import MemberBatch
from service.operations.evening.gather_weather import GatheredWeather

EXPECTED_AMOUNT_SOURCES = frozenset({"nws-grid"})
"""Sources whose amount of rain is the expected one: chance times what falls if it rains."""


def made_members(weather: GatheredWeather, *, first_day: date) -> MemberBatch:
    """Members from the chance of rain and the amount of the forecast, from ``first_day`` on."""
    first = int((np.datetime64(first_day) - weather.days[0]).astype(np.int64))
    raw = weather.chosen.raw
    has_rain = np.isfinite(raw.rain_mm[first:])
    return members_of_forecast(
        PlainForecast(
            days=weather.days[first:],
            rain_mm=np.where(has_rain, weather.weather.days.rain_mm[first:], np.nan).T,
            rain_probability_fraction=np.where(
                np.isfinite(raw.rain_probability_fraction[first:]),
                weather.weather.days.rain_probability_fraction[first:],
                np.nan,
            ).T,
            is_expected_amount=_is_expected_amount(weather, first).T,
            et0_mm=weather.weather.days.et0_mm[first:].T,
            seeds=np.array(
                [zlib.crc32(site.site_id.encode()) for site in weather.sites.definitions],
                dtype=np.int64,
            ),
        )
    )


def _is_expected_amount(weather: GatheredWeather, first: int) -> NDArray[np.bool_]:
    """(days, sites) whether the source of the rain gives chance times amount."""
    row_of = weather.chosen.row_of["rain_mm"][first:]
    of_row = np.array(
        [source in EXPECTED_AMOUNT_SOURCES for source in weather.rows.sources] or [False]
    )
    return np.asarray((row_of != NO_ROW) & of_row[row_of])
