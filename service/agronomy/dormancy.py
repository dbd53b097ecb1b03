"""The watering season of a block: outside it the crop is dormant and nothing is planned.

In: how a block's crop coefficient runs through the year, and what grows. Out: first and last day of
its watering season, and for any day whether the block is dormant. The balance goes on in either
case, so that what a dry winter took is made good when the season begins.
"""

from __future__ import annotations

import math
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import day_of_year
from service.agronomy.crop_water_use import DAYS_IN_YEAR, day_of_plain_year
from service.agronomy.pulse_plan import ShortfallCause
from service.agronomy.records import CurveDefinition, Days, Floats, Ints

SEASON_MARGIN_DAYS = 14  # [CHOICE] d of water before the crop's season, and after it
SHORTEST_DORMANCY_DAYS = 30  # [CHOICE] d, a shorter gap is no dormancy
WHOLE_YEAR = (1, DAYS_IN_YEAR)


def default_watering_season(curve: CurveDefinition, *, is_evergreen: bool) -> tuple[int, int]:
    """First and last day of the year on which a block is watered, unless it has days of its own.

    Shapes: one block.
    is_evergreen: the crop keeps its leaves, and uses water in winter wherever it grows.
    Returns: days of a year of 365 days, both included; the season may pass the turn of the year.
    (1, 365) for evergreen crops, for stages in degree days, whose days are not known beforehand,
    and where the rest of the year would be shorter than 30 days.
    Source: the crop's own stages, or the first and last point of its own table, with 14 days before
    and after; all of it [CHOICE], no source.
    >>> peach = CurveDefinition(
    ...     basis="days", season_start=(3, 1), stage_knots=(20.0, 90.0, 210.0, 240.0))
    >>> default_watering_season(peach, is_evergreen=False)
    (46, 313)
    >>> default_watering_season(peach, is_evergreen=True)
    (1, 365)
    """
    if is_evergreen or curve.basis == "degree-days":
        return WHOLE_YEAR
    if curve.basis == "table":
        days = [day_of_year(month, day) for month, day, _ in curve.points]
        start_doy, length_days = days[0], days[-1] - days[0] + 1
    else:
        start_doy = day_of_year(*curve.season_start)
        length_days = math.ceil(curve.stage_knots[-1])
    watered_days = length_days + 2 * SEASON_MARGIN_DAYS
    if watered_days > DAYS_IN_YEAR - SHORTEST_DORMANCY_DAYS:
        return WHOLE_YEAR
    first_doy = (start_doy - SEASON_MARGIN_DAYS - 1) % DAYS_IN_YEAR + 1
    return first_doy, (first_doy + watered_days - 2) % DAYS_IN_YEAR + 1


def is_dormant(
    days: Days, watering_start_doy: Floats, watering_end_doy: Floats
) -> NDArray[np.bool_]:
    """Whether each day lies outside the watering season of each block.

    Shapes: days (days,); the others (blocks,); result (days, blocks).
    watering_start_doy, watering_end_doy: first and last day of the season, 1 to 365; an end before
    the start is a season across the turn of the year; NaN counts as the whole year.
    Returns: True where the block is dormant.
    >>> days = np.array(["2024-02-14", "2024-02-15", "2024-11-10"], "M8[D]")
    >>> is_dormant(days, np.array([46.0, 300.0]), np.array([313.0, 100.0])).T.tolist()
    [[True, False, True], [False, False, False]]
    """
    doy = day_of_plain_year(days)[:, np.newaxis]
    is_before, is_after = doy < watering_start_doy, doy > watering_end_doy
    crosses_year = watering_end_doy < watering_start_doy
    return np.where(crosses_year, is_before & is_after, is_before | is_after)


def dormant_days(day: date, watering_start_doy: Floats, watering_end_doy: Floats) -> Floats:
    """Days from a day to the watering season of each block.

    Shapes: one day; the others and the result (blocks,).
    watering_start_doy, watering_end_doy: as in :func:`is_dormant`.
    Returns: days [d] of a year of 365 days; 0 within the season.
    >>> dormant_days(date(2025, 12, 31), np.array([46.0, 300.0]), np.array([313.0, 100.0])).tolist()
    [46.0, 0.0]
    """
    on = np.array([day], dtype="datetime64[D]")
    rests = is_dormant(on, watering_start_doy, watering_end_doy)[0]
    left = np.mod(watering_start_doy - day_of_plain_year(on)[0], DAYS_IN_YEAR)
    return np.where(rests, left, 0.0)


def cause_by_season(cause: Ints, held_min: Floats, *, is_dormant: NDArray[np.bool_]) -> Ints:
    """What reduced each block's minutes, with the reasons that are the season's.

    Shapes: all (blocks,).
    cause: of the pulse plan; held_min: minutes of the windows that were too cold for a pulse [min].
    Returns: DORMANT for a dormant block; FREEZE_HOLD where the windows were too short and some of
    them too cold; else the cause given.
    >>> cause_by_season(np.array([2, 2, 0]), np.array([90.0, 0.0, 0.0]),
    ...                 is_dormant=np.array([False, False, True])).tolist()
    [7, 2, 8]
    """
    is_held = (cause == ShortfallCause.WINDOWS) & (held_min > 0.0)
    found = np.where(is_held, int(ShortfallCause.FREEZE_HOLD), cause)
    return np.where(is_dormant, int(ShortfallCause.DORMANT), found)
