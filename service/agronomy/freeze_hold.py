"""Hours in which no pulse may run because the air is near freezing.

In: the temperatures expected on the days around a civil day, the sun, each block's limit and its
windows. Out: the windows without the hours below that limit. The course of the temperature between
the day's extremes is that of Parton & Logan 1981, Agric. Meteorol. 23:205-216: a sine by day, an
exponential decay by night; coefficients for air at 1.5 m as the manual of the R package TrenchR
1.1.1 quotes them. The decay is scaled so that it ends at the minimum, which the published one stays
a tenth of the night's range above [CHOICE]. Frost protection needs other water than drip gives and
is not planned here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_days import SiteDays
from service.agronomy.records import Floats, Ints, WindowBatch
from service.unit_sizes import MINUTES_PER_DAY

MAXIMUM_LAG_MIN = 1.86 * 60.0  # a of Parton & Logan 1981
NIGHT_DECAY = 2.20  # b
MINIMUM_LAG_MIN = -0.17 * 60.0  # c: the minimum comes ten minutes before sunrise
STAYS_COLD_K = 3.0  # [CHOICE] a day with a maximum less than this above the limit is cold all day
NEVER_MIN = 1 << 20  # later than any day's last minute


class ColdHours(NamedTuple):
    """When a civil day is below each block's limit, whole minutes since its midnight, (blocks,)."""

    from_min: Ints
    until_min: Ints
    """End of the cold morning; not after its start where there is none."""
    again_min: Ints
    """Start of the cold evening."""


def cold_hours(
    weather: SiteDays, row: int, *, site_index: Ints, freeze_hold_c: Floats
) -> ColdHours:
    """The hours of one day that are expected below each block's limit.

    Shapes: weather (days, sites); row of the day among them; the others and the result (blocks,).
    freeze_hold_c: limit [°C]; NaN: none. No hour is colder than the day's minimum. The night
    before runs from the sunset of the row before, the night after to the minimum of the next row;
    the first and last row stand for their own.
    Returns: ColdHours; a day whose maximum stays within 3 K of the limit is cold throughout.
    Source: Parton & Logan 1981, solved for the minute at which the limit is reached.
    >>> days = np.array(["2025-04-10"], "M8[D]")
    >>> spring = SiteDays(days, *[np.array([[value]]) for value in (
    ...     3.0, 0.0, 0.0, 16.0, -2.0, 0.0, 330.0, 1110.0)])
    >>> cold = cold_hours(spring, 0, site_index=np.array([0]), freeze_hold_c=np.array([0.0]))
    >>> [int(part[0]) for part in cold]  # from 01:01 to 05:56, and again past midnight
    [61, 356, 1501]
    """
    before, after = max(row - 1, 0), min(row + 1, weather.days.size - 1)
    (tmax, tmin, rise, set_min), (_, next_tmin, _, _) = (
        _of_blocks(weather, each, site_index) for each in (row, after)
    )
    before_tmax, before_tmin, _, _ = _of_blocks(weather, before, site_index)
    day_min = set_min - rise
    night_min = MINUTES_PER_DAY - day_min
    day_angle = np.pi * day_min / (day_min + 2.0 * MAXIMUM_LAG_MIN)
    with np.errstate(invalid="ignore", divide="ignore"):
        dusk_c = before_tmin + (before_tmax - before_tmin) * np.sin(day_angle)
        from_min = _cooled_min(dusk_c, tmin, freeze_hold_c, night_min) - (MINUTES_PER_DAY - set_min)
        # From the minimum the sine rises through the limit, and after its top falls through it.
        turn = np.arcsin(np.clip((freeze_hold_c - tmin) / (tmax - tmin), 0.0, 1.0)) / np.pi
        whole_min = day_min + 2.0 * MAXIMUM_LAG_MIN
        until_min = rise + turn * whole_min
        falls_min = rise + (1.0 - turn) * whole_min
        dusk_c = tmin + (tmax - tmin) * np.sin(day_angle)
        night_falls_min = set_min + _cooled_min(dusk_c, next_tmin, freeze_hold_c, night_min)
        again_min = np.where(dusk_c < freeze_hold_c, falls_min, night_falls_min)
        is_cold_day = tmax < freeze_hold_c + STAYS_COLD_K
        has_cold_morning = tmin < freeze_hold_c
    from_min = np.where(has_cold_morning, np.maximum(from_min, 0.0), 0.0)
    until_min = np.where(has_cold_morning, until_min, 0.0)
    return ColdHours(
        from_min=np.where(is_cold_day, 0, _whole(np.floor(from_min))),
        until_min=np.where(is_cold_day, NEVER_MIN, _whole(np.ceil(until_min))),
        again_min=np.where(is_cold_day, 0, _whole(np.floor(again_min))),
    )


def hold_windows(
    windows: WindowBatch,
    weather: SiteDays,
    row: int,
    *,
    site_index: Ints,
    freeze_hold_c: Floats,
) -> WindowBatch:
    """The windows of a day without the hours that are too cold for each block.

    Shapes: windows (blocks, windows); weather (days, sites); row of the day among them; site_index
    and freeze_hold_c (blocks,).
    freeze_hold_c: limit [°C]; NaN: none.
    Returns: WindowBatch with the minutes held; the very one given if nothing is held.
    Equation: window less [from, until) and [again, midnight) of :func:`cold_hours`.
    """
    cold = np.flatnonzero(_may_be_cold(weather, row, site_index, freeze_hold_c))
    if not cold.size:
        return windows
    hours = cold_hours(weather, row, site_index=site_index[cold], freeze_hold_c=freeze_hold_c[cold])
    from_min, until_min, again_min = (part[:, np.newaxis] for part in hours)
    opens, closes = windows.opens_min[cold], windows.closes_min[cold]
    closes_by_night = np.minimum(closes, again_min)
    parts = (
        (opens, np.where(until_min > from_min, np.minimum(closes_by_night, from_min), 0)),
        (np.maximum(opens, until_min), closes_by_night),
    )
    pieces = [(np.where(o < c, o, 0), np.where(o < c, c, 0)) for o, c in parts]
    left_min = sum((c - o).sum(axis=1) for o, c in pieces)
    held_min = np.zeros(windows.opens_min.shape[0])
    held_min[cold] = (closes - opens).sum(axis=1) - left_min
    if not held_min.any():
        return windows
    width = windows.opens_min.shape[1]
    opens_min, closes_min = (
        np.concatenate([whole, np.zeros_like(whole)], axis=1)
        for whole in (windows.opens_min, windows.closes_min)
    )
    # Both parts of a window side by side keep the windows of a block in order of time.
    order = np.arange(2 * width).reshape(2, width).T.ravel()
    opens_min[cold] = np.concatenate([o for o, _ in pieces], axis=1)[:, order]
    closes_min[cold] = np.concatenate([c for _, c in pieces], axis=1)[:, order]
    is_used: NDArray[np.bool_] = np.any(closes_min > opens_min, axis=0)
    is_used[0] = True
    return replace(
        windows,
        opens_min=np.ascontiguousarray(opens_min[:, is_used]),
        closes_min=np.ascontiguousarray(closes_min[:, is_used]),
        held_min=held_min,
    )


def _may_be_cold(
    weather: SiteDays, row: int, site_index: Ints, freeze_hold_c: Floats
) -> NDArray[np.bool_]:
    """(blocks,) whether any hour of the day can be below the limit, by its extremes alone."""
    after = min(row + 1, weather.days.size - 1)
    lowest = np.minimum(weather.tmin_c[row], weather.tmin_c[after])[site_index]
    highest = weather.tmax_c[row, site_index]
    is_cold: NDArray[np.bool_] = (lowest < freeze_hold_c) | (highest < freeze_hold_c + STAYS_COLD_K)
    return is_cold


def _of_blocks(
    weather: SiteDays, row: int, site_index: Ints
) -> tuple[Floats, Floats, Floats, Floats]:
    """Maximum, minimum, the minute of the minimum, and sunset, each (blocks,)."""
    return (
        weather.tmax_c[row, site_index],
        weather.tmin_c[row, site_index],
        weather.sunrise_min[row, site_index] + MINIMUM_LAG_MIN,
        weather.sunset_min[row, site_index],
    )


def _cooled_min(dusk_c: Floats, tmin_c: Floats, limit_c: Floats, night_min: Floats) -> Floats:
    """Minutes after sunset at which a night reaches the limit; never where it stays above."""
    share = np.clip((limit_c - tmin_c) / (dusk_c - tmin_c), 0.0, 1.0)
    end = np.exp(-NIGHT_DECAY)
    minutes = -night_min / NIGHT_DECAY * np.log(share * (1.0 - end) + end)
    reached = np.where(limit_c >= dusk_c, 0.0, minutes)
    return np.where(tmin_c < limit_c, reached, np.inf)


def _whole(minutes: Floats) -> Ints:
    """Minutes as integers; never, and unknown, as NEVER_MIN."""
    return np.where(np.isfinite(minutes), minutes, NEVER_MIN).astype(np.int64)
