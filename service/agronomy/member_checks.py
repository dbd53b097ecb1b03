"""Whether the members of an ensemble may be believed at a site, and what to say about them.

In: the members of the sites and the forecast that plans rest on. Out: flags, and the sites whose
members are not used. Nothing is corrected here: members in another unit, or without rain where all
else says rain, are set aside with a word, and the rule for forecasts without an ensemble holds.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints
from service.agronomy.weather_members import MemberBatch

NEAR_DAYS = 3  # [d] a choice: so far ahead a forecast of much rain is not missed by all members
SURE_CHANCE = 0.5  # [CHOICE] chance of rain from which no member may be dry on all of those days
SURE_RAIN_MM = 5.0  # [CHOICE] mm in those days, the same
ET0_RATIO_LIMITS = (0.5, 2.0)  # [CHOICE] of the members' mean over the forecast's
RAIN_RATIO_LIMIT = 8.0  # [CHOICE] an inch is 25.4 mm; models differ by less over a week
FEWEST_RAIN_MM = 10.0  # [CHOICE] mm in all days, from which rain is compared so


class MemberFlag(enum.IntFlag):
    """What is known about the members of a site; several may be set at once."""

    HOLES = enum.auto()
    FROZEN = enum.auto()
    OLD_RUN = enum.auto()
    ALL_DRY = enum.auto()
    DRY_AGAINST_FORECAST = enum.auto()
    OTHER_UNIT = enum.auto()
    TOO_FEW = enum.auto()
    UNCALIBRATED = enum.auto()
    NO_SKILL = enum.auto()
    FROM_AMOUNT = enum.auto()
    TOO_OLD = enum.auto()


REFUSED = MemberFlag.DRY_AGAINST_FORECAST | MemberFlag.OTHER_UNIT | MemberFlag.TOO_FEW
"""With one of these the members of an ensemble are not used."""
FLAG_TEXT: Mapping[MemberFlag, str] = {
    MemberFlag.HOLES: "Some members lacked hours and were left out.",
    MemberFlag.FROZEN: "Some members had not moved since the day before and were left out.",
    MemberFlag.OLD_RUN: "The model has not run again since the day before.",
    MemberFlag.ALL_DRY: "No member has any rain.",
    MemberFlag.DRY_AGAINST_FORECAST: (
        "No member has rain where the forecast is sure of it; the members were not used."
    ),
    MemberFlag.OTHER_UNIT: (
        "The members are so far from the forecast that they may be in another unit; they were not"
        " used."
    ),
    MemberFlag.TOO_FEW: "Too few members are whole; they were not used.",
    MemberFlag.UNCALIBRATED: "Too few days are archived to correct the members by.",
    MemberFlag.NO_SKILL: (
        "On some of the days the members have been no better than the season; their rain is not"
        " counted on there."
    ),
    MemberFlag.FROM_AMOUNT: "The forecast has an amount and no chance of rain: low confidence.",
    MemberFlag.TOO_OLD: "The newest members are more than two days old and were not used.",
}


def doubts(
    members: MemberBatch,
    *,
    forecast_rain_mm: Floats,
    forecast_chance: Floats,
    forecast_et0_mm: Floats,
) -> Ints:
    """What speaks against the members of each site, as bits of :class:`MemberFlag`.

    Shapes: forecast terms (sites, days), over the days of the members, NaN where not known.
    Returns: (sites,) ``ALL_DRY``, ``DRY_AGAINST_FORECAST``, ``OTHER_UNIT``; 0 without members.
    Source: [CHOICE]; see the limits above.
    >>> from service.agronomy.weather_members import pooled_members
    >>> days = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")
    >>> dry = pooled_members(days, [[(np.zeros((20, 5)), np.full((20, 5), 5.0))]], fewest_count=15)
    >>> wet, sure = np.full((1, 5), 8.0), np.full((1, 5), 0.9)
    >>> found = doubts(
    ...     dry, forecast_rain_mm=wet, forecast_chance=sure, forecast_et0_mm=np.full((1, 5), 5.2)
    ... )
    >>> MemberFlag(int(found[0])) == MemberFlag.ALL_DRY | MemberFlag.DRY_AGAINST_FORECAST
    True
    """
    has_members = members.count() > 0
    weights = members.weights[..., np.newaxis]
    rain_mm = (np.nan_to_num(members.rain_mm) * weights).sum(axis=1)
    et0_mm = (np.nan_to_num(members.et0_mm) * weights).sum(axis=1)
    known = np.isfinite(members.rain_mm).any(axis=1) & np.isfinite(forecast_et0_mm)
    is_dry = has_members & ~(np.nan_to_num(members.rain_mm) > 0.0).any(axis=(1, 2))
    near = slice(0, NEAR_DAYS)
    is_sure = (np.nan_to_num(forecast_chance[:, near]) >= SURE_CHANCE).any(axis=1) & (
        np.nan_to_num(forecast_rain_mm[:, near]).sum(axis=1) >= SURE_RAIN_MM
    )
    et0_ratio = _ratio(et0_mm, forecast_et0_mm, known)
    rain_known = known & np.isfinite(forecast_rain_mm)
    rain_ratio = _ratio(rain_mm, forecast_rain_mm, rain_known)
    most_mm = np.maximum(
        np.where(rain_known, rain_mm, 0.0).sum(axis=1),
        np.where(rain_known, forecast_rain_mm, 0.0).sum(axis=1),
    )
    is_apart = (et0_ratio < ET0_RATIO_LIMITS[0]) | (et0_ratio > ET0_RATIO_LIMITS[1])
    is_apart |= (most_mm >= FEWEST_RAIN_MM) & (rain_ratio > RAIN_RATIO_LIMIT)
    flags = np.where(is_dry, int(MemberFlag.ALL_DRY), 0)
    flags |= np.where(is_dry & is_sure, int(MemberFlag.DRY_AGAINST_FORECAST), 0)
    flags |= np.where(has_members & is_apart, int(MemberFlag.OTHER_UNIT), 0)
    return flags.astype(np.int64)


def _ratio(members_mm: Floats, forecast_mm: Floats, known: NDArray[np.bool_]) -> Floats:
    """Sum of the members' over the forecast's, (sites,); 1 where nothing can be compared."""
    ours = np.where(known, members_mm, 0.0).sum(axis=1)
    theirs = np.where(known, forecast_mm, 0.0).sum(axis=1)
    return np.where(theirs > 0.0, ours / np.where(theirs > 0.0, theirs, 1.0), 1.0)


def members_words(flags: int) -> list[str]:
    """What the flags of a site say, a sentence each.

    Shapes: one number.
    Returns: sentences in the order of the flags.
    Source: ``FLAG_TEXT``.
    >>> members_words(int(MemberFlag.ALL_DRY))
    ['No member has any rain.']
    """
    return [FLAG_TEXT[flag] for flag in MemberFlag(flags)]
