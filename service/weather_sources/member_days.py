"""Civil days from the hours of an ensemble, all members at once.

The rules are those of :mod:`service.weather_sources.day_fields`, for tables (hours, members) and
not one series, without notes. A day that lacks more than two hours of a quantity does not have it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.records import Floats
from service.agronomy.station_day import FEWEST_HOURS, SLACK_HOURS
from service.weather_sources.day_fields import DayCut


def member_fields(columns: dict[str, Floats], during: DayCut, before: DayCut) -> dict[str, Floats]:
    """Daily values, (days, members), of hourly ones, (hours, members).

    ``during`` cuts the hours that stamps begin, ``before`` those that they end.
    """
    air_c = columns["temperature_2m"]
    vapour_kpa = saturation_vapour_pressure_kpa(air_c) * columns["relative_humidity_2m"] / 100.0
    return {
        "tmax_c": _highest(during, air_c),
        "tmin_c": -_highest(during, -air_c),
        "ea_kpa": _mean(during, vapour_kpa),
        "wind_m_s": _mean(during, columns["wind_speed_10m"]),
        "rs_mj_m2": _whole_total(before, _bridged(columns["shortwave_radiation"]) * 0.0036),
        "rain_mm": _total(before, columns["precipitation"]),
    }


def _mean(cut: DayCut, values: Floats) -> Floats:
    hours = _known_hours(cut, values)
    total = cut.shared @ np.nan_to_num(values)
    return _where_enough(total / np.where(hours > 0.0, hours, 1.0), hours)


def _total(cut: DayCut, values: Floats) -> Floats:
    """Daily sum of what each interval has; hourly intervals lie in one day or are split."""
    shares = cut.shared / np.where(cut.lengths > 0.0, cut.lengths, 1.0)
    return _where_enough(shares @ np.nan_to_num(values), _known_hours(cut, values))


def _whole_total(cut: DayCut, values: Floats) -> Floats:
    """The same of days without a gap; an hour at noon is a tenth of the day."""
    is_whole = _known_hours(cut, values) >= cut.day_lengths[:, np.newaxis] - SLACK_HOURS
    return np.where(is_whole, _total(cut, values), np.nan)


def _highest(cut: DayCut, values: Floats) -> Floats:
    """Highest value of the hours that lie in each day, by half at least."""
    belongs = cut.shared >= np.minimum(cut.lengths / 2.0, 1.0) - SLACK_HOURS
    known = np.where(np.isfinite(values), values, -np.inf)
    highest = np.stack(
        [known[inside].max(axis=0, initial=-np.inf) for inside in belongs],
    )
    return _where_enough(highest, _known_hours(cut, values))


def _bridged(values: Floats) -> Floats:
    """Hours that are missing between others, on a line between these; a sum must not skip them."""
    place = np.arange(values.shape[0])
    bridged = values.copy()
    for member in np.flatnonzero(np.isnan(values).any(axis=0)).tolist():
        known = np.isfinite(values[:, member])
        gaps = _short_gaps(known)
        if gaps.any():
            line = np.interp(place, place[known], values[known, member])
            bridged[gaps, member] = line[gaps]
    return bridged


def _short_gaps(known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Hours that are missing between two that are known, at most two in a row."""
    gaps = np.zeros(known.size, dtype=np.bool_)
    places = np.flatnonzero(known)
    for before, after in zip(places[:-1].tolist(), places[1:].tolist(), strict=True):
        if 1 < after - before <= 3:
            gaps[before + 1 : after] = True
    return gaps


def _known_hours(cut: DayCut, values: Floats) -> Floats:
    hours: Floats = cut.shared @ np.isfinite(values).astype(np.float64)
    return hours


def _where_enough(values: Floats, hours: Floats) -> Floats:
    return np.where((hours >= FEWEST_HOURS - SLACK_HOURS) & np.isfinite(values), values, np.nan)
