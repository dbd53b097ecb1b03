"""Twenty seasons of real rain under forecasts with a spread, for rules that decide a day's depth.

Weather: De Bilt, 1980 to 2019, Royal Netherlands Meteorological Institute (``data/de_bilt``, CC BY
4.0, with its notice); reference ET computed from it by FAO-56. Forecasts are invented from what
came: rain is turned into a normal score of its month, a forecast has a stated correlation with the
score of the day, and members scatter about the forecast as far as the truth does, so that they are
calibrated by construction. Errors of neighboring lead days go together. Correlations and spreads
are [CHOICE], plausible for frontal rain.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cache
from math import erf, sqrt
from pathlib import Path
from statistics import NormalDist

import numpy as np

from service.agronomy.records import Days, Floats, Ints, SoilBatch
from service.agronomy.root_zone import depletion_fraction
from service.agronomy.safe_depth import RiskDays
from service.agronomy.weather_members import MemberBatch, MemberOrigin

FILE = Path(__file__).parent / "data" / "de_bilt" / "rain_et0_1980_2019.csv.gz"
YEARS = np.arange(2000, 2020)
SEASON_DAYS = 183  # from 1 April
LEADS, MEMBERS = 5, 31
WET_MM = 0.2
RAIN_CORRELATION = np.array([0.85, 0.80, 0.74, 0.67, 0.60])
ET0_LOG_SPREAD = np.array([0.10, 0.12, 0.14, 0.16, 0.18])
LEAD_CORRELATION = 0.5


@dataclass(frozen=True, slots=True)
class Evening:
    """What is known on one evening of all years, and what then came."""

    members: MemberBatch
    """Sites are years."""
    wet_chance: Floats
    """(years,) of tomorrow, as the single forecast has it."""
    rain_mm: Floats
    """(years,) tomorrow's rain in the single forecast."""
    et0_mm: Floats
    true_rain_mm: Floats
    """(years,) what fell."""
    true_et0_mm: Floats


_error_function = np.vectorize(erf, otypes=[np.float64])
_score = np.vectorize(NormalDist().inv_cdf, otypes=[np.float64])


def normal_share(scores: Floats) -> Floats:
    """Share of a standard normal distribution below scores."""
    return np.asarray(0.5 * (1.0 + _error_function(scores / sqrt(2.0))))


class Climate:
    """Normal scores of rain by month, both ways."""

    def __init__(self, days: Days, rain_mm: Floats) -> None:
        self.month = days.astype("M8[M]").astype(int) % 12 + 1
        self.table: dict[int, tuple[float, Floats]] = {}
        for month in range(1, 13):
            near = rain_mm[np.isin((self.month - month) % 12, (0, 1, 11))]
            self.table[month] = (float(np.mean(near < WET_MM)), np.sort(near[near >= WET_MM]))

    def scores(self, rain_mm: Floats, random: np.random.Generator) -> Floats:
        """Normal scores; dry days anywhere in their part of the distribution."""
        scores = np.empty(rain_mm.size)
        for month, (dry, amounts) in self.table.items():
            own = self.month == month
            rain = rain_mm[own]
            lower = random.random(rain.size) * dry
            left = np.searchsorted(amounts, rain, side="left")
            ties = np.searchsorted(amounts, rain, side="right") - left
            rank = (left + random.random(rain.size) * np.maximum(1, ties)) / amounts.size
            upper = dry + (1.0 - dry) * np.clip(rank, 1e-4, 1.0 - 1e-4)
            share = np.where(rain < WET_MM, lower, upper)
            scores[own] = _score(np.clip(share, 1e-5, 1.0 - 1e-5))
        return scores

    def rain(self, scores: Floats, month: int) -> Floats:
        """Rain of normal scores [mm]."""
        dry, amounts = self.table[month]
        above = (normal_share(scores) - dry) / (1.0 - dry)
        places = (np.arange(amounts.size) + 0.5) / amounts.size
        return np.where(above <= 0.0, 0.0, np.interp(above, places, amounts))


def _chained(draws: Floats, axis: int) -> Floats:
    """Standard normal draws in which each lead day is correlated with the one before."""
    chained = np.moveaxis(draws, axis, 0)
    for lead in range(1, chained.shape[0]):
        rest = np.sqrt(1.0 - LEAD_CORRELATION**2)
        chained[lead] = LEAD_CORRELATION * chained[lead - 1] + rest * chained[lead]
    return np.moveaxis(chained, 0, axis)


class _Record:
    """The weather of all seasons and the errors that forecasts of it make."""

    def __init__(self) -> None:
        with gzip.open(FILE, "rt", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        self.days = np.array([row["date"] for row in rows], dtype="M8[D]")
        self.rain_mm = np.array([float(row["rain_mm"]) for row in rows])
        self.et0_mm = np.array([float(row["et0_mm"]) for row in rows])
        random = np.random.default_rng(7)
        self.climate = Climate(self.days, self.rain_mm)
        self.scores = self.climate.scores(self.rain_mm, random)
        starts = np.array([f"{year}-04-01" for year in YEARS], dtype="M8[D]")
        self.first = np.searchsorted(self.days, starts)
        shape = (SEASON_DAYS, LEADS, YEARS.size)
        self.rain_error = _chained(random.standard_normal(shape), 1)
        self.et0_error = random.standard_normal(shape)

    def evening(self, day: int) -> Evening:
        """The evening before a day of the season."""
        random = np.random.default_rng(1000 + day)
        scatter = _chained(random.standard_normal((LEADS, YEARS.size, MEMBERS)), 0)
        et0_scatter = random.standard_normal((LEADS, YEARS.size, MEMBERS))
        rain, et0 = np.empty((2, YEARS.size, MEMBERS, LEADS))
        for lead in range(LEADS):
            rows = self.first + day + lead
            month = int(self.climate.month[rows[0]])
            known = RAIN_CORRELATION[lead]
            unknown = np.sqrt(1.0 - known**2)
            score = known * self.scores[rows] + unknown * self.rain_error[day, lead]
            scores = known * score[:, np.newaxis] + unknown * scatter[lead]
            rain[:, :, lead] = self.climate.rain(scores, month)
            spread = ET0_LOG_SPREAD[lead]
            expected = self.et0_mm[rows] * np.exp(
                spread * self.et0_error[day, lead] - spread**2 / 2.0
            )
            et0[:, :, lead] = expected[:, np.newaxis] * np.exp(spread * et0_scatter[lead])
            if lead == 0:
                dry = self.climate.table[month][0]
                chance = 1.0 - normal_share((NormalDist().inv_cdf(dry) - known * score) / unknown)
                tomorrow = (chance, self.climate.rain(score, month), expected)
        rows = self.first + day
        return Evening(
            MemberBatch(
                days=self.days[rows[0]] + np.arange(LEADS),
                rain_mm=rain,
                et0_mm=et0,
                weights=np.full((YEARS.size, MEMBERS), 1.0 / MEMBERS),
                origin=np.full(YEARS.size, MemberOrigin.ENSEMBLE, dtype=np.int64),
            ),
            *tomorrow,
            true_rain_mm=self.rain_mm[rows],
            true_et0_mm=self.et0_mm[rows],
        )


@cache
def evenings() -> tuple[Evening, ...]:
    """The evenings of the season, from that before 1 April."""
    record = _Record()
    return tuple(record.evening(day) for day in range(SEASON_DAYS))


@dataclass(frozen=True, slots=True)
class Field:
    """One invented block."""

    wetted_fraction: float
    taw_mm: float
    table_depletion_fraction: float
    crop_coefficient: float
    smallest_mm: float
    largest_mm: float


FIELDS = {
    "berry, sandy loam": Field(0.33, 14.9, 0.5, 0.92, 0.45, 9.0),
    "berry, loamy sand": Field(0.33, 6.9, 0.5, 0.92, 0.45, 9.0),
}


class Fields:
    """Every field in every year, or each in one, arrays (blocks,)."""

    def __init__(self, fields: Sequence[Field], year_index: Ints | None = None) -> None:
        every_year = np.tile(np.arange(YEARS.size), len(fields))
        self.site_index = every_year if year_index is None else year_index
        repeats = YEARS.size if year_index is None else 1
        self.of_field = np.repeat(np.arange(len(fields)), repeats)

        def column(name: str) -> Floats:
            return np.array([float(getattr(each, name)) for each in fields])[self.of_field]

        self.taw_mm, self.table_fraction = column("taw_mm"), column("table_depletion_fraction")
        self.kc, self.wetted = column("crop_coefficient"), column("wetted_fraction")
        self.smallest_mm, self.largest_mm = column("smallest_mm"), column("largest_mm")

    def columns(self) -> Fields:
        """The same as columns, to which arrays (blocks, members) fit."""
        turned = copy(self)
        for name, values in vars(self).items():
            setattr(turned, name, values[:, np.newaxis])
        return turned

    def raw_mm(self, crop_et_mm: Floats) -> Floats:
        """Readily available water on a day of this demand."""
        return np.asarray(self.taw_mm * depletion_fraction(self.table_fraction, crop_et_mm))

    def risk_days(self, depletion_mm: Floats) -> RiskDays:
        """The fields as the decision takes them."""
        shape = (LEADS, self.site_index.size)
        one, none = np.ones(shape[1]), np.zeros(shape[1])
        return RiskDays(
            site_index=self.site_index,
            soil=SoilBatch(one, none, one, one, self.wetted, one, none, one, np.nan * one),
            depletion_midnight_mm=depletion_mm,
            crop_coefficient=np.broadcast_to(self.kc, shape),
            zone_share=np.ones(shape),
            taw_mm=np.broadcast_to(self.taw_mm, shape),
            table_depletion_fraction=self.table_fraction,
            is_dormant=np.zeros(shape, dtype=np.bool_),
            later_day_mm=self.largest_mm,
            rain_room_fraction=0.3 * one,
        )

    def step(
        self,
        depletion_mm: Floats,
        weather: tuple[Floats, Floats],
        water: tuple[Floats, Floats],
        raw_mm: Floats,
    ) -> tuple[Floats, Floats, Floats]:
        """A day's balance in its simple form: depletion, drainage, transpiration lost.

        Rain, water before sunrise as far as there is room, then the crop's use with the stress
        coefficient of the morning; the loss counts by the worse of morning and evening.
        weather: rain and reference ET; water: depth and the room for it before sunrise.
        """
        (rain, et0), (depth, room) = weather, water
        entering = np.where(rain < 0.2 * et0, 0.0, rain * self.wetted)
        early = np.minimum(depth, room)
        start, drained = _emptied(depletion_mm - entering)
        start, more = _emptied(start - early)
        crop_et, late = self.kc * et0, depth - early
        span = np.maximum(1e-6, self.taw_mm - raw_mm)
        morning = np.clip((self.taw_mm - start) / span, 0.0, 1.0)
        used = np.minimum(morning * crop_et, self.taw_mm - start + late)
        end, last = _emptied(start + used - late)
        evening = np.clip((self.taw_mm - end) / span, 0.0, 1.0)
        return end, drained + more + last, crop_et * (1.0 - np.minimum(morning, evening))


def _emptied(depletion_mm: Floats) -> tuple[Floats, Floats]:
    """Depletion of a zone that drains what it cannot hold, and what drained."""
    return np.maximum(0.0, depletion_mm), np.maximum(0.0, -depletion_mm)


Decision = Callable[[Evening, Floats], tuple[Floats, Floats]]
"""Of an evening and the depletion at its midnight: tomorrow's depth, and what of it fits before
sunrise."""


@dataclass(slots=True)
class Totals:
    """Sums of a season, (blocks,)."""

    net_mm: Floats
    drainage_mm: Floats
    stress_mm: Floats
    """Transpiration lost."""
    short_days: Floats
    """Days that end beyond the readily available water."""

    @property
    def cost(self) -> Floats:
        """At 1 for water and drainage, 40 for transpiration lost."""
        return self.net_mm + self.drainage_mm + 40.0 * self.stress_mm


def book_day(
    fields: Fields, evening: Evening, depletion_mm: Floats, depth_mm: Floats, room_mm: Floats
) -> tuple[Floats, Floats, Floats]:
    """Depletion, drainage and loss on the day that came after an evening."""
    site = fields.site_index
    rain, et0 = evening.true_rain_mm[site], evening.true_et0_mm[site]
    raw = fields.raw_mm(fields.kc * et0)
    return fields.step(depletion_mm, (rain, et0), (depth_mm, room_mm), raw)


def run_season(fields: Fields, decide: Decision) -> Totals:
    """The season under one rule."""
    size = fields.site_index.size
    depletion = np.zeros(size)
    total = Totals(*np.zeros((4, size)))
    for evening in evenings():
        depth_mm, room_mm = decide(evening, depletion)
        depletion, drained, lost = book_day(fields, evening, depletion, depth_mm, room_mm)
        raw = fields.raw_mm(fields.kc * evening.true_et0_mm[fields.site_index])
        total.net_mm += depth_mm
        total.drainage_mm += drained
        total.stress_mm += lost
        total.short_days += depletion > raw + 1e-3
    return total
