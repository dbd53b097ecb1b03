"""One weather table out of many reports: for each site, day and field the best available value.

In go rows of several sources and kinds; out comes one :class:`RawWeather` and, for each field, the
row that every value was taken from, so that a plan can say where its numbers come from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.weather_day import RawWeather

NO_ROW = -1
"""Row number of "no report has this field"."""


@dataclass(frozen=True, slots=True)
class ChosenWeather:
    """The table and its provenance."""

    raw: RawWeather
    row_of: Mapping[str, Ints]
    """Per field, (days, sites): the row that the value was taken from, or NO_ROW."""


def choose_weather(
    fields: Mapping[str, Floats],
    *,
    days: Days,
    site_count: int,
    day_index: Ints,
    site_index: Ints,
    rank: Ints,
    wind_height_m: Floats,
) -> ChosenWeather:
    """The value of the highest rank for each site, day and field.

    Shapes: each field, day_index, site_index, rank and wind_height_m (rows,); result (days, sites).
    rank: higher is better; of equal ranks the later row counts.
    Returns: ChosenWeather; NaN where no row has a value.
    Source: choice per field, not per day, is [CHOICE].
    """
    order = np.argsort(rank, kind="stable")
    shape = (days.size, site_count)
    chosen: dict[str, Floats] = {}
    row_of: dict[str, Ints] = {}
    for name, values in fields.items():
        rows = order[np.isfinite(values[order])]
        best = np.full(shape, NO_ROW, dtype=np.int64)
        best[day_index[rows], site_index[rows]] = rows  # the last write, of the best rank, is kept
        row_of[name] = best
        chosen[name] = np.where(best == NO_ROW, np.nan, values[best] if values.size else np.nan)
    wind_row = row_of["wind_m_s"]
    height_m = np.where(
        wind_row == NO_ROW, 2.0, wind_height_m[wind_row] if wind_height_m.size else 2.0
    )
    return ChosenWeather(raw=RawWeather(days=days, wind_height_m=height_m, **chosen), row_of=row_of)
