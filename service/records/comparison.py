"""What a past season was under several programs, side by side."""

from __future__ import annotations

import enum
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from service.agronomy.records import Floats
from service.agronomy.week_ahead import WEEK_DAYS
from service.pulses import Pulse


class Program(enum.StrEnum):
    """What decides how long a block runs."""

    RULE = "rule"
    """The same water every week of the watering season."""
    WEEKLY = "weekly"
    """A timer set once a week, to the best program for what is then expected."""
    DAILY = "daily"
    """The daily plan, with what each evening expected."""
    FORESEEN = "foreseen"
    """The daily plan, had every evening known the next day."""
    OWN = "own"
    """What was run: reported runs, and what its timer had been set to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleOfThumb:
    """A fixed amount: one of a depth over the ground or minutes, each for a week."""

    gross_mm_per_week: float | None = None
    run_min_per_week: float | None = None
    days_a_week: int = WEEK_DAYS

    def gross_mm(self, rate_mm_per_h: Floats) -> Floats:
        """(blocks,) depth a week over the block's ground."""
        if self.run_min_per_week is not None:
            return self.run_min_per_week / 60.0 * rate_mm_per_h
        return np.full(rate_mm_per_h.shape, self.gross_mm_per_week or 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnRuns:
    """What was run in a block, as far as it is known."""

    pulses: Mapping[date, tuple[Pulse, ...]]
    """Of days on which it ran."""
    known_days: frozenset[date]
    """Days of which it is known what ran, also that nothing did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class YearFigures:
    """One block's year under one program."""

    year: int
    program: Program
    day_count: int
    """Days that the figures are of."""
    season_day_count: int
    """Days of the watering season among the days of the year that were run."""
    known_day_count: int
    """Those of them of which it is known what ran; all but for what was run."""
    gross_mm: float
    volume_m3: float
    irrigation_drainage_mm: float
    rain_drainage_mm: float
    stress_day_count: int
    """Days of the watering season that end below readily available water."""
    lost_crop_et_mm: float
    """Water that the crop did not use in that season for want of it."""
    water_cost: float | None
    """In the currency of the price; None without one."""
    nitrogen_lost_kg_per_ha: float | None

    @property
    def is_whole(self) -> bool:
        """Whether the figures are of the whole season, so that they can be held beside others."""
        return self.known_day_count == self.season_day_count


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The programs side by side."""

    block_ids: tuple[str, ...]
    block_names: tuple[str, ...]
    years: Mapping[str, tuple[YearFigures, ...]]
    """By block: year after year, programs in their order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """What the daily plan is compared with, and what water and nitrogen count; None: left out."""

    rule: RuleOfThumb | None
    """None: with what was run alone."""
    own: Mapping[str, OwnRuns] = field(default_factory=dict)
    """What was run, by block; blocks of which nothing is known are left out."""
    water_price: float | None = None
    """Of a cubic metre, in any currency."""
    nitrogen_kg_per_ha: float | None = None
    """Given in equal parts in every week of the watering season of a year."""


def whole_programs(years: Sequence[YearFigures]) -> tuple[Program, ...]:
    """The programs of which every year is known whole: those that can be held beside each other."""
    count = len({each.year for each in years})
    whole = [each.program for each in years if each.is_whole]
    return tuple(program for program in Program if whole.count(program) == count)


def mean_year(years: Sequence[YearFigures], program: Program) -> YearFigures:
    """The mean of a program's years; its year is the last of them.

    Stress days are rounded to whole ones.
    """
    return _over_years(years, program, np.mean)


def total_of_years(years: Sequence[YearFigures], program: Program) -> YearFigures:
    """The sum over a program's years; its year is the last of them."""
    return _over_years(years, program, np.sum)


def _over_years(
    years: Sequence[YearFigures], program: Program, over: Callable[[list[float]], float]
) -> YearFigures:
    own = [each for each in years if each.program is program]

    def of(name: str) -> float:
        return float(over([getattr(each, name) for each in own]))

    def if_known(name: str) -> float | None:
        return None if getattr(own[0], name) is None else of(name)

    return YearFigures(
        year=own[-1].year,
        program=program,
        day_count=round(of("day_count")),
        season_day_count=round(of("season_day_count")),
        known_day_count=round(of("known_day_count")),
        gross_mm=of("gross_mm"),
        volume_m3=of("volume_m3"),
        irrigation_drainage_mm=of("irrigation_drainage_mm"),
        rain_drainage_mm=of("rain_drainage_mm"),
        stress_day_count=round(of("stress_day_count")),
        lost_crop_et_mm=of("lost_crop_et_mm"),
        water_cost=if_known("water_cost"),
        nitrogen_lost_kg_per_ha=if_known("nitrogen_lost_kg_per_ha"),
    )
