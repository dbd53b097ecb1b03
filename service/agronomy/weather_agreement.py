"""Which of several sources to believe on a day, and which values to set aside, and why.

In: what each source says of the days around today, what was measured at places nearby, and what the
place had before. Out: for each source, day and quantity whether its value is set aside, and for
which reason; and where the doubt could not be settled.

A source is judged as a series first (its median distance from the others over three weeks: a wrong
unit, a bias, days out of order) and day by day then. Whoever is contradicted and has fewer others
on its side is set aside. Where sides are equal, the place's past decides, and the day is marked.
The limits are choices of this service, set on real stations so that they hardly ever cry
(tests/validation/README.md); the rule for places nearby follows the spatial regression test of
station networks (Hubbard et al. 2005, from memory): a learned difference and a learned spread.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.day_order import days_out_of_order
from service.agronomy.records import Floats
from service.agronomy.source_votes import mean_of_known, median, series_gaps, verdict
from service.agronomy.weather_nearby import Nearby
from service.agronomy.weather_voices import (
    BRIGHTEST_SHARE,
    QUANTITIES,
    RAIN,
    TOLERANCES,
    Voices,
)

Mask = NDArray[np.bool_]
Codes = NDArray[np.int8]


class Reason(enum.IntEnum):
    """Why a value is set aside. The numbers are stored: new ones are added at the end."""

    NONE = 0
    PHYSICS = 1
    OTHERS = 2
    PAST = 3
    OTHERS_ALL_DAYS = 4
    PAST_ALL_DAYS = 5
    DAY_ORDER = 6
    SUN_HOURS = 7
    CLOUDBURST = 8


REASON_TEXT: Mapping[Reason, str] = {
    Reason.PHYSICS: "no day has such a value",
    Reason.OTHERS: "others contradict it on this day",
    Reason.PAST: "another source contradicts it and is nearer to what the place had",
    Reason.OTHERS_ALL_DAYS: "others contradict it on all days, as if its unit or place were wrong",
    Reason.PAST_ALL_DAYS: (
        "another source contradicts it on all days and is nearer to what the place had"
    ),
    Reason.DAY_ORDER: "its days are late, early or in reverse, by what others say",
    Reason.SUN_HOURS: "its hours do not follow the sun at the place",
    Reason.CLOUDBURST: "more rain than the place ever had, and no gauge or second source has it",
}

SERIES_DAYS_BACK = 14  # [CHOICE] d before today over which a source is judged as a series
FEWEST_SERIES_DAYS = 4  # [CHOICE]
FEWEST_LEARNING_DAYS = 10  # [CHOICE] before that, from which the usual difference is learned
SPREAD_LIMIT = 5.0  # [CHOICE] robust standard deviations of the difference from places nearby
CLOUDBURST_MM = 100.0  # [CHOICE] mm/d, more needs a gauge, a second source or such a past
CLOUDBURST_SHARE = 1.0 / 3.0  # [CHOICE] of the amount, that confirms it
STORM_WIND_LN = float(np.log(15.0))  # [CHOICE] 15 m/s at 2 m as a daily mean is a hurricane
DARK_SHARE, DARK_DAYS = 0.12, 5  # [CHOICE] so dark on so many days running is no weather
SUN_OFFSET_H = 3.0  # [CHOICE] h
STRANGE_C, STRANGE_SPREADS = 12.0, 5.0  # [CHOICE] from the place's past: worth a word
MAD_TO_SD = 1.4826  # normal distribution


@dataclass(frozen=True, slots=True)
class Judgement:
    """What to believe; arrays by quantity."""

    reason: Mapping[str, Codes]
    """(voices, days, sites): a :class:`Reason`; NONE: the value may be used."""
    is_doubtful: Mapping[str, Mask]
    """(days, sites): sources disagree and nothing settles it, or the value is strange here."""

    def needs_a_look(self) -> Mask:
        """(sites,) whether anything was found."""
        found = np.zeros(next(iter(self.is_doubtful.values())).shape[1], dtype=np.bool_)
        for name in QUANTITIES:
            found |= self.is_doubtful[name].any(axis=0) | self.reason[name].any(axis=(0, 1))
        return found


def judge_weather(
    voices: Voices,
    *,
    today_row: int,
    nearby: Nearby | None = None,
    past: Mapping[str, Floats] | None = None,
) -> Judgement:
    """Whether each value of each source may be used.

    Shapes: voices (voices, days, sites), days in a row without gaps; nearby (days, sites); past
    (samples, sites), on the same scales, NaN where not known.
    today_row: row of the day on which this is asked; later rows are forecasts.
    past: values of the place from before the days that are judged, of the same time of year.
    Returns: Judgement. Days before today by more than ``SERIES_DAYS_BACK`` are never set aside:
    they teach how the sources and places differ.
    >>> days = np.arange("2026-07-01", "2026-07-09", dtype="M8[D]")
    >>> said = {name: np.full((3, 8, 1), np.nan) for name in QUANTITIES}
    >>> said["tmax"][:, :, 0] = [[38.0], [30.0], [30.5]]
    >>> found = judge_weather(Voices(days, said, np.zeros((3, 8, 1), bool),
    ...     np.full((3, 8, 1), np.nan)), today_row=0)
    >>> [Reason(code).name for code in found.reason["tmax"][:, 4, 0]]
    ['OTHERS_ALL_DAYS', 'NONE', 'NONE']
    """
    reason: dict[str, Codes] = {}
    doubtful: dict[str, Mask] = {}
    judged = np.arange(voices.days.size) >= today_row - SERIES_DAYS_BACK
    whole = _of_whole_sources(voices, today_row)
    for name in QUANTITIES:
        said = voices.values[name]
        codes = np.zeros(said.shape, dtype=np.int8)
        _mark(codes, _impossible(name, said, voices.values, judged), Reason.PHYSICS)
        for mask, why in whole.reasons:
            _mark(codes, mask & _has_another(said, codes), why)
        usable = np.where(codes == 0, said, np.nan)
        court = _Court(
            name, usable, voices.is_measured, nearby=nearby, past=past, today_row=today_row
        )
        doubt = court.judge(codes)
        if name == RAIN:
            bursts = _lone_cloudbursts(court)
            _mark(codes, bursts, Reason.CLOUDBURST)
            doubt |= bursts.any(axis=0)
        elif name in {"tmax", "tmin"}:
            doubt |= _strange(court, codes)
        codes[np.isnan(said) | ~judged[:, None]] = Reason.NONE
        reason[name] = codes
        doubtful[name] = (doubt | whole.doubt) & judged[:, None] & np.isfinite(said).any(axis=0)
    return Judgement(reason, doubtful)


def _mark(codes: Codes, mask: Mask, why: Reason) -> None:
    codes[mask & (codes == 0)] = why


def _has_another(said: Floats, codes: Codes) -> Mask:
    """Whether some other source, itself not set aside, has the value too."""
    counts = (np.isfinite(said) & (codes == 0)).sum(axis=0)
    return np.asarray(np.isfinite(said) & (counts >= 2))


class _WholeSources(NamedTuple):
    """What is wrong with all that a source says."""

    reasons: list[tuple[Mask, Reason]]
    """(voices, days, sites)"""
    doubt: Mask
    """(days, sites)"""


def _of_whole_sources(voices: Voices, today_row: int) -> _WholeSources:
    order = days_out_of_order(
        {name: voices.values[name] for name in QUANTITIES if name != RAIN},
        {name: TOLERANCES[name].apart for name in QUANTITIES if name != RAIN},
        first_row=max(0, today_row - SERIES_DAYS_BACK),
        today_row=today_row,
    )
    with np.errstate(invalid="ignore"):
        is_off_sun = np.abs(voices.sun_offset_h) >= SUN_OFFSET_H
    every_day = np.ones((1, voices.days.size, 1), dtype=np.bool_)
    return _WholeSources(
        [
            (is_off_sun, Reason.SUN_HOURS),
            (order.is_out[:, None, :] & every_day, Reason.DAY_ORDER),
        ],
        is_off_sun.any(axis=0) | (order.is_unsettled[None, :] & every_day[0]),
    )


def _impossible(name: str, said: Floats, values: Mapping[str, Floats], judged: Mask) -> Mask:
    """What no day has, whatever the others say."""
    with np.errstate(invalid="ignore"):
        if name == "wind":
            return said > STORM_WIND_LN
        if name == "dewpoint":
            # The day's mean dewpoint above its mean temperature is air that holds more than it can.
            return said > (values["tmax"] + values["tmin"]) / 2.0 + 2.0
        if name == "radiation":
            seen = np.where(judged[:, None], said, np.nan)
            is_dark = (seen < DARK_SHARE) | np.isnan(seen)
            days = np.isfinite(seen).sum(axis=1, keepdims=True)
            never_light = is_dark.all(axis=1, keepdims=True) & (days >= DARK_DAYS)
            return np.asarray((said > BRIGHTEST_SHARE) | (never_light & np.isfinite(said)))
    return np.zeros(said.shape, dtype=np.bool_)


class _Court:
    """One quantity: the sources, and after them the places nearby as one more voice."""

    def __init__(
        self,
        name: str,
        said: Floats,
        is_measured: Mask,
        *,
        nearby: Nearby | None,
        past: Mapping[str, Floats] | None,
        today_row: int,
    ) -> None:
        self.name, self.said, self.is_measured = name, said, is_measured
        self.limits = TOLERANCES[name]
        self.nearby = np.full(said.shape[1:], np.nan) if nearby is None else nearby.values[name]
        self.nearby_count = (
            np.zeros(said.shape[1:], np.int64) if nearby is None else nearby.witness_counts[name]
        )
        self.today_row = today_row
        self.series = slice(max(0, today_row - SERIES_DAYS_BACK), None)
        nothing = np.full((1, said.shape[2]), np.nan)
        self.past = self._undisputed_past(nothing if past is None else past[name])
        lead = np.arange(said.shape[1]) - today_row
        self.lead_days = np.maximum(0, lead)[:, None].astype(np.float64)

    def _undisputed_past(self, before: Floats) -> Floats:
        """(samples, sites) the last days on which all agreed; too few of them: what was before."""
        recent = slice(self.series.start, self.today_row + 1)
        said, is_measured = self.said[:, recent], self.is_measured[:, recent]
        known = np.isfinite(said)
        spread = np.where(known, said, -np.inf).max(axis=0) - np.where(known, said, np.inf).min(
            axis=0
        )
        is_one = (spread <= self.limits.apart / 2.0) & (
            (known.sum(axis=0) >= 2) | (known & is_measured).any(axis=0)
        )
        agreed = np.where(is_one, median(said, axis=0), np.nan)
        is_enough = is_one.sum(axis=0) >= FEWEST_SERIES_DAYS
        if self.name == RAIN:
            is_enough &= False  # two weeks say little of rain
        both = np.concatenate([agreed, before])
        is_recent = np.arange(len(both))[:, None] < len(agreed)
        return np.where(is_recent == is_enough, both, np.nan)

    def judge(self, codes: Codes) -> Mask:
        """Set aside first what is off on all days, then what is off on a day; what is in doubt."""
        members = np.concatenate([self.said, self.nearby[None]])
        is_measured = np.concatenate([self.is_measured, np.ones_like(self.nearby, np.bool_)[None]])
        gap, before = self._gaps(members)
        with np.errstate(invalid="ignore"):  # more than places differ by is not usual
            usual = np.where(np.abs(before) <= self.limits.place_offset, before, np.nan)
        limit = self._series_limit(is_measured, np.isfinite(usual))
        gap = gap - np.nan_to_num(usual, nan=0.0)
        apart = np.greater(np.abs(gap), limit)
        if self.name == RAIN:  # of two sums only the larger can be one of cloudbursts that were not
            apart &= gap > 0.0
        side = self._sides(np.isfinite(gap), np.abs(gap) > self.limits.series_apart)
        distance = self._series_distance()
        aside, by_past, open_still = verdict(apart, side, distance)
        differs, is_alone = self._differs(apart)
        _mark(codes, (aside & ~by_past)[:, None] & (differs | is_alone), Reason.OTHERS_ALL_DAYS)
        _mark(codes, (aside & by_past)[:, None] & differs, Reason.PAST_ALL_DAYS)
        unsettled = open_still | (aside & by_past).any(axis=0)
        doubt = unsettled[None, :] & differs.any(axis=0)
        if self.name == RAIN:
            return doubt
        left = np.where(codes == 0, members[:-1], np.nan)
        return doubt | self._judge_days(codes, np.concatenate([left, self.nearby[None]]), before)

    def _gaps(self, members: Floats) -> tuple[Floats, Floats]:
        """How far each lies above each other one now, and did before, (members, members, sites)."""
        now = series_gaps(self.name, members[:, self.series.start :], FEWEST_SERIES_DAYS)
        if self.name == RAIN:
            return now, np.full_like(now, np.nan)
        return now, series_gaps(self.name, members[:, : self.series.start], FEWEST_LEARNING_DAYS)

    def _series_limit(self, is_measured: Mask, is_learned: Mask) -> Floats:
        """(members, members, sites): more between an instrument and a model, or two places, while
        it is not known how they differ."""
        here: Mask = np.asarray(is_measured[:, self.series].any(axis=1))
        differs = (here[:, None] | here[None, :]) & ~is_learned
        return self.limits.series_apart + np.where(differs, self.limits.place_offset, 0.0)

    def _differs(self, apart: Mask) -> tuple[Mask, Mask]:
        """Days on which a source that is off as a series is off, or has nobody beside it.

        Shapes: apart (members, members, sites); results (voices, days, sites).
        """
        members = np.concatenate([self.said, self.nearby[None]])
        difference = members[:-1, None] - members[None, :]
        if self.name == RAIN:
            is_off = np.greater(difference, 0.0)
        else:
            with np.errstate(invalid="ignore"):
                is_off = np.greater(np.abs(difference), self.limits.series_apart / 2.0)
        others = np.isfinite(difference) & apart[:-1, :, None, :]
        return (is_off & others).any(axis=1), np.isfinite(self.said) & ~others.any(axis=1)

    def _sides(self, is_known: Mask, is_apart: Mask) -> NDArray[np.int64]:
        """How many others are on the side of each member, (members, ..., sites)."""
        agrees = is_known & ~is_apart
        agrees[np.arange(len(agrees)), np.arange(len(agrees))] = False
        counts: NDArray[np.int64] = agrees.sum(axis=1)
        # Several places that agree with one another are a side of their own.
        several = self.nearby_count >= 2
        counts[-1] += several.any(axis=0) if counts[-1].ndim == 1 else several
        return counts

    def _series_distance(self) -> Floats:
        """(voices, sites) how far each source is from the place's past over all its days."""
        said = self.said[:, self.series]
        if self.name == RAIN:
            mean_mm, past_mm = mean_of_known(said, axis=1), mean_of_known(self.past, axis=0)
            return np.abs(np.log((mean_mm + 0.5) / (past_mm + 0.5)))
        return np.abs(median(said, axis=1) - median(self.past, axis=0))

    def _judge_days(self, codes: Codes, members: Floats, before: Floats) -> Mask:
        limit = self.limits.apart + self.limits.per_lead * self.lead_days
        offset = self.limits.place_offset
        learned = np.nan_to_num(np.clip(before, -offset, offset), nan=0.0)[:, :, None, :]
        difference = members[:, None] - members[None, :] - learned
        limits = np.broadcast_to(limit, difference.shape).copy()
        self._widen_for_places(limits, difference)
        with np.errstate(invalid="ignore"):
            apart = np.greater(np.abs(difference), limits)
        side = self._sides(np.isfinite(difference), apart)
        distance = np.abs(members[:-1] - median(self.past, axis=0))
        aside, by_past, open_still = verdict(apart, side, distance)
        _mark(codes, aside & ~by_past, Reason.OTHERS)
        _mark(codes, aside & by_past, Reason.PAST)
        return open_still | (aside & by_past).any(axis=0)

    def _widen_for_places(self, limits: Floats, difference: Floats) -> None:
        """Where places nearby vary against this one, they contradict it only beyond that."""
        before = difference[:-1, -1, : self.today_row]
        spread = MAD_TO_SD * median(np.abs(before - median(before, axis=1)[:, None]), axis=1)
        wide = SPREAD_LIMIT * np.nan_to_num(spread, nan=0.0)[:, None, :]
        limits[:-1, -1] = np.maximum(limits[:-1, -1], wide)
        limits[-1, :-1] = limits[:-1, -1]


def _lone_cloudbursts(court: _Court) -> Mask:
    """More rain than the place ever had, said by one model alone."""
    most_mm = np.nan_to_num(court.past, nan=0.0).max(axis=0)
    limit_mm = np.maximum(CLOUDBURST_MM, 2.0 * most_mm)
    said = court.said
    amounts = np.nan_to_num(np.concatenate([said, court.nearby[None]]), nan=0.0)
    with np.errstate(invalid="ignore"):
        confirms = np.asarray(amounts[None] >= CLOUDBURST_SHARE * said[:, None])
        confirms[np.arange(len(said)), np.arange(len(said))] = False
        is_alone = ~confirms.any(axis=1) & ~court.is_measured
        return np.asarray((said > limit_mm) & is_alone)


def _strange(court: _Court, codes: Codes) -> Mask:
    """(days, sites) a temperature far from the place's past that no other source confirms."""
    usual = median(court.past, axis=0)
    spread = MAD_TO_SD * median(np.abs(court.past - usual), axis=0)
    limit = np.maximum(STRANGE_C, STRANGE_SPREADS * spread)
    kept = np.where(codes == 0, court.said, np.nan)
    with np.errstate(invalid="ignore"):
        strange = np.abs(kept - usual) > limit
    alone = np.isfinite(kept).sum(axis=0) + np.isfinite(court.nearby) == 1
    found: Mask = strange.any(axis=0) & alone
    return found
