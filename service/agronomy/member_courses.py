"""Members of an ensemble, from their weather to the rain and reference ET of whole courses.

In: daily weather of each member, as a model has it. Out: rain and reference ET of each day, and
which members are of use: a member is one course of the weather, so one that lacks a day before the
forecast ends is left out altogether, and so is one that has not moved since the day before, as
control runs have been seen to do. Nothing is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Days, Floats, Ints
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.weather_day import RawWeather, check_weather
from service.agronomy.weather_members import NEEDED_DAYS, known_until_a_gap

SNOW_BELOW_C = 2.0  # [CHOICE] °C, precipitation of a day that stays below it is snow
WIND_HEIGHT_M = 10.0  # [m] of models' wind
WHOLE_SHARE = 0.5  # [CHOICE] of a model's members, that must reach a day for it to count
FEWEST_COMMON_DAYS = 3  # [d] a choice: as many equal days are no chance
SAME_MM = 0.011  # [mm] courses are kept to a hundredth


def member_courses(
    days: Days, fields: Mapping[str, Floats], *, latitude_deg: Floats, elevation_m: Floats
) -> tuple[Floats, Floats]:
    """Rain and reference ET of members.

    Shapes: days (days,); fields and both results (days, columns), one column for each member of
    each site; latitude and elevation (columns,).
    fields: tmax_c, tmin_c, ea_kpa, wind_m_s at 10 m, rs_mj_m2, rain_mm.
    Returns: rain [mm], 0 on days of snow, and ET0 [mm]; NaN on days on which any field is unknown.
    Source: FAO-56 Eq. 6 by :mod:`service.agronomy.reference_et`; snow a choice of this service.
    >>> one = {"tmax_c": 21.5, "tmin_c": 12.3, "ea_kpa": 1.409, "wind_m_s": 2.78, "rs_mj_m2": 22.07}
    >>> fields = {name: np.array([[value]]) for name, value in {**one, "rain_mm": 3.0}.items()}
    >>> rain, et0 = member_courses(
    ...     np.array(["2023-07-06"], "M8[D]"), fields,
    ...     latitude_deg=np.array([50.8]), elevation_m=np.array([100.0]),
    ... )
    >>> float(rain[0, 0]), round(float(et0[0, 0]), 1)
    (3.0, 3.9)
    """
    unknown = np.full(fields["rain_mm"].shape, np.nan)
    raw = RawWeather(
        days=days,
        **dict(fields),
        tdew_c=unknown,
        rhmax_pct=unknown,
        rhmin_pct=unknown,
        rhmean_pct=unknown,
        sunshine_h=unknown,
        rain_probability_fraction=unknown,
        wind_height_m=np.full(latitude_deg.shape, WIND_HEIGHT_M),
    )
    checked = check_weather(raw, latitude_deg=latitude_deg, elevation_m=elevation_m)
    et0_mm = reference_et_mm(checked, latitude_deg=latitude_deg, elevation_m=elevation_m)
    is_known = np.isfinite(np.stack(list(fields.values()))).all(axis=0) & np.isfinite(et0_mm)
    rain_mm = np.where(fields["tmax_c"] < SNOW_BELOW_C, 0.0, fields["rain_mm"])
    return np.where(is_known, rain_mm, np.nan), np.where(is_known, et0_mm, np.nan)


@dataclass(frozen=True, slots=True)
class WholeMembers:
    """Which members of a model are whole, and up to when."""

    is_whole: NDArray[np.bool_]
    """(members,)"""
    day_count: int
    """Days from the first on that they all have; 0: fewer than a decision needs."""


def whole_members(values: Floats) -> WholeMembers:
    """The members without a gap, up to the day that most of the members reach.

    Shapes: values (members, days), NaN where anything of a day is unknown.
    Returns: WholeMembers. A forecast that ends early for all members ends there; a member that ends
    before the others is left out.
    Source: a choice of this service.
    >>> values = np.ones((4, 7))
    >>> values[:, 6] = np.nan  # the model ends
    >>> values[2, 3] = np.nan  # a hole
    >>> found = whole_members(values)
    >>> found.is_whole.tolist(), found.day_count
    ([True, True, False, True], 6)
    """
    reaches = known_until_a_gap(values)
    reaching = reaches.sum(axis=0)
    is_there = reaching >= max(1.0, WHOLE_SHARE * reaches[:, 0].sum()) if values.size else reaching
    day_count = int(np.count_nonzero(is_there))
    if day_count < NEEDED_DAYS:
        return WholeMembers(np.zeros(values.shape[0], dtype=np.bool_), 0)
    return WholeMembers(reaches[:, day_count - 1], day_count)


def frozen_members(
    numbers: Ints, courses_mm: Floats, *, before_numbers: Ints, before_mm: Floats, days_between: int
) -> NDArray[np.bool_]:
    """Members that say of the coming days just what they said when they were issued before.

    Shapes: numbers (members,), courses_mm (members, days, quantities); before likewise.
    days_between: by how many days the first day of the earlier issue lies before that of this one.
    Returns: (members,); none with fewer than three days in common.
    Source: a choice of this service; control runs that stood still for days have been reported.
    >>> new = np.arange(10.0).reshape(1, 5, 2)
    >>> old = np.concatenate([np.full((1, 1, 2), 9.0), new[:, :4]], axis=1)
    >>> one = np.array([0])
    >>> bool(frozen_members(one, new, before_numbers=one, before_mm=old, days_between=1)[0])
    True
    """
    is_frozen = np.zeros(numbers.size, dtype=np.bool_)
    earlier = before_mm[:, days_between:]
    common = min(earlier.shape[1], courses_mm.shape[1])
    if common < FEWEST_COMMON_DAYS:
        return is_frozen
    place_of = {number: place for place, number in enumerate(before_numbers.tolist())}
    for member, number in enumerate(numbers.tolist()):
        if number in place_of:
            apart = np.abs(courses_mm[member, :common] - earlier[place_of[number], :common])
            is_frozen[member] = bool((apart < SAME_MM).all())
    return is_frozen
