"""A past season under other programs: a fixed rule, a timer set once a week, what was really run.

In: a season's crop water use and rain, and what each block runs on a day. Out: the ledger of every
day, to be held against that of the daily plan. The evening before a setting day knows the ledger up
to the day before and only what was expected from then on, as the daily plan does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from service.agronomy.block_batch import BlockBatch
from service.agronomy.block_days import CropDays
from service.agronomy.records import Days, Floats, Ints, PulseBatch, WindowBatch
from service.agronomy.season import DayWater, day_ledger, stack_ledgers
from service.agronomy.water_balance import DayLedger, PulseTimes
from service.agronomy.watering_rules import net_rate_mm_per_min
from service.agronomy.week_ahead import WEEK_DAYS, TimerBatch, WeekAhead, WeekProgram
from service.agronomy.week_program import choose_programs
from service.pulses import Pulse
from service.unit_sizes import MINUTES_PER_DAY

DAYS_PER_YEAR = 365.25
MOST_EARLIER_YEARS = 10
"""[CHOICE] Rain of so many earlier years at most is what a coming week may bring."""
DRY_SHARE = 0.5
"""[CHOICE] Weight of a week without rain beside those of earlier years."""

PulsesOfDay = Callable[[int, Floats], PulseBatch]
"""What the blocks run on a day (row number), given the depletion expected at its midnight."""


@dataclass(frozen=True, slots=True)
class Season:
    """The days of a past season as every program meets them, arrays (days, blocks)."""

    days: Days
    crop: CropDays
    expected: CropDays
    """What the evening before expected of each day; ``crop`` itself where it knew it."""
    sunrise_min: Floats
    sunset_min: Floats
    windows: Sequence[WindowBatch]
    """One per day."""
    supply_flow_l_per_h: Floats
    depletion_start_mm: Floats
    """(blocks,) at the midnight before the first day."""
    blocks_of_year: Callable[[int], BlockBatch]

    def blocks_on(self, day: int) -> BlockBatch:
        """The blocks as they are in the year of a day."""
        return self.blocks_of_year(self.days[day].item().year)


@dataclass(frozen=True, slots=True)
class ProgramSeason:
    """What a program led to, arrays (days, blocks)."""

    ledger: DayLedger
    gross_mm: Floats


def run_program(season: Season, pulses_of_day: PulsesOfDay) -> ProgramSeason:
    """Step every block through a season with the pulses that a program gives.

    Shapes: season (days, blocks).
    Returns: ProgramSeason.
    Source: the balance of FAO-56 Eq. 84 and 85, day by day.
    """
    depletion_mm = expected_mm = season.depletion_start_mm
    ledgers: list[DayLedger] = []
    gross_mm = np.zeros(season.crop.crop_et_mm.shape)
    for day in range(season.days.size):
        pulses = pulses_of_day(day, np.minimum(expected_mm, season.crop.taw_mm[day]))
        rate_mm_per_h = season.blocks_on(day).system.application_rate_mm_per_h
        gross_mm[day] = pulses.total_min() * rate_mm_per_h / 60.0
        water = _water_of(season, day, pulses)
        expected_mm = day_ledger(depletion_mm, season.expected, day, water).depletion_end_mm
        ledgers.append(day_ledger(depletion_mm, season.crop, day, water))
        depletion_mm = ledgers[-1].depletion_end_mm
    return ProgramSeason(ledger=stack_ledgers(ledgers), gross_mm=gross_mm)


def _water_of(season: Season, day: int, pulses: PulseBatch) -> DayWater:
    """The water of a day's pulses."""
    blocks = season.blocks_on(day)
    sunrise_min, sunset_min = season.sunrise_min[day], season.sunset_min[day]
    times = PulseTimes.of_day(pulses, sunrise_min=sunrise_min, sunset_min=sunset_min)
    running = np.concatenate(([0.0], np.cumsum(times.duration_min)))
    day_min = running[times.offset[1:]] - running[times.offset[:-1]]
    rate_mm_per_min = net_rate_mm_per_min(blocks.system, blocks.soil)
    early_min = pulses.total_min() - day_min
    return DayWater(times, early_min * rate_mm_per_min, day_min * rate_mm_per_min)


@dataclass(frozen=True, slots=True)
class FixedRule:
    """The same water every week of the watering season, in one run a day."""

    season: Season
    gross_mm_per_week: Floats
    """(blocks,) over the whole block area."""
    days_a_week: int
    """Days on which it runs, spread evenly over the week."""

    def __call__(self, day: int, depletion_mm: Floats) -> PulseBatch:
        """One run from the first minute that is allowed; it ends by midnight.

        A day that is wholly without water has none.
        """
        blocks, windows = self.season.blocks_on(day), self.season.windows[day]
        weekday = int(self.season.days[day].item().weekday())
        runs = weekday in {
            place * WEEK_DAYS // self.days_a_week for place in range(self.days_a_week)
        }
        wanted_mm = np.where(self.season.crop.is_dormant[day], 0.0, self.gross_mm_per_week)
        run_min = wanted_mm / self.days_a_week / blocks.system.application_rate_mm_per_h * 60.0
        is_open = windows.closes_min[:, 0] > windows.opens_min[:, 0]
        start_min = np.where(is_open, windows.opens_min[:, 0], 0)
        whole_min = np.rint(np.minimum(run_min, MINUTES_PER_DAY - start_min)).astype(np.int64)
        return _single_runs(start_min, whole_min * (runs & (is_open | ~windows.is_outage)))


def _single_runs(start_min: Ints, run_min: Ints) -> PulseBatch:
    """One run for each block with minutes to run."""
    runs = run_min > 0
    return PulseBatch(
        offset=np.concatenate(([0], np.cumsum(runs))),
        start_min=start_min[runs],
        duration_min=run_min[runs],
    )


@dataclass(frozen=True, slots=True)
class GivenRuns:
    """What was run; on days of which that is not known, the daily plan's own pulses."""

    daily: Sequence[PulseBatch]
    """One per day."""
    given: Sequence[Mapping[int, tuple[Pulse, ...]]]
    """For each block its pulses by row of the day; of rows that are missing nothing is known."""

    def __call__(self, day: int, depletion_mm: Floats) -> PulseBatch:
        """The pulses of a day."""
        plan = self.daily[day]
        return PulseBatch.of_rows(
            own[day] if day in own else plan.of_block(block) for block, own in enumerate(self.given)
        )


class WeeklyTimers:
    """Timers that are set every seventh day to the program worked out on the evening before."""

    def __init__(self, season: Season, timers_on: Callable[[int], TimerBatch]) -> None:
        self._season = season
        self._timers_on = timers_on
        self._program: WeekProgram | None = None
        self._open_day_mask: Ints | None = None

    def __call__(self, day: int, depletion_mm: Floats) -> PulseBatch:
        """The pulses of a day; on a setting day the program is worked out first."""
        of_week = day % WEEK_DAYS
        if self._program is None or self._open_day_mask is None or of_week == 0:
            timers = self._timers_on(day)
            self._open_day_mask = timers.open_day_mask
            self._program = choose_programs(
                self._week_ahead(day, depletion_mm), timers, self._season.supply_flow_l_per_h
            )
        return _runs_of(self._program, self._open_day_mask, of_week)

    def _week_ahead(self, day: int, depletion_mm: Floats) -> WeekAhead:
        """The coming week as it was, where it is known, else the one before with earlier rain."""
        season, crop = self._season, self._season.crop
        rows = np.arange(day, min(day + WEEK_DAYS, season.days.size))
        shape = (rows.size, depletion_mm.size)
        if season.expected is crop:
            crop_et_mm = crop.zone_et_mm[rows]
            rain_mm, weight = crop.rain_entering_mm[rows][np.newaxis], np.ones(1)
        else:
            seen = season.expected.zone_et_mm[max(0, day + 1 - WEEK_DAYS) : day + 1]
            crop_et_mm = np.broadcast_to(seen.mean(axis=0), shape).copy()
            rain_mm, weight = _earlier_rain(crop.rain_entering_mm, rows)
        is_dormant = crop.is_dormant[day]
        return WeekAhead(
            # A dormant block asks for nothing: its timer is off.
            depletion_start_mm=np.where(is_dormant, 0.0, depletion_mm),
            crop_et_mm=np.where(
                is_dormant, 0.0, np.broadcast_to(crop_et_mm, (weight.size, *shape))
            ),
            taw_mm=np.broadcast_to(crop.taw_mm[day], shape),
            raw_mm=np.broadcast_to(season.expected.raw_mm[day], shape),
            sunrise_min=np.broadcast_to(season.sunrise_min[day], shape),
            sunset_min=np.broadcast_to(season.sunset_min[day], shape),
            rain_entering_mm=rain_mm,
            course_weight=np.broadcast_to(weight[:, np.newaxis], (weight.size, shape[1])),
        )


def _earlier_rain(rain_entering_mm: Floats, rows: Ints) -> tuple[Floats, Floats]:
    """(courses, days, blocks) no rain, and what entered on these days of years before; weights."""
    first = [
        int(rows[0] - round(years * DAYS_PER_YEAR)) for years in range(1, MOST_EARLIER_YEARS + 1)
    ]
    earlier = [rain_entering_mm[begin : begin + rows.size] for begin in first if begin >= 0]
    courses = np.stack([np.zeros((rows.size, rain_entering_mm.shape[1])), *earlier])
    if not earlier:
        return courses, np.ones(1)
    weight = np.full(courses.shape[0], (1.0 - DRY_SHARE) / len(earlier))
    weight[0] = DRY_SHARE
    return courses, weight


def _runs_of(program: WeekProgram, open_day_mask: Ints, of_week: int) -> PulseBatch:
    """The pulses of a program on a day of its week, in whole minutes."""
    on = ((program.day_mask & open_day_mask) >> of_week) & 1
    counts = np.where(program.is_known, program.start_count, 0) * on
    offset = np.concatenate(([0], np.cumsum(counts)))
    block = np.repeat(np.arange(counts.size), counts)
    place = np.arange(offset[-1]) - offset[block]
    begin, end = (
        np.rint(place * program.run_min[block]),
        np.rint((place + 1) * program.run_min[block]),
    )
    return PulseBatch(
        offset=offset,
        start_min=program.first_start_min[block] + place * program.spacing_min[block],
        duration_min=(end - begin).astype(np.int64),
    )
