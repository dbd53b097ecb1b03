"""Timers that keep one program until somebody changes it, and the programs themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import TypedDict

import numpy as np

from service.agronomy.civil_day import ONE_DAY
from service.agronomy.records import Floats, Ints
from service.agronomy.week_ahead import WEEK_DAYS, DayRule
from service.pulses import Pulse

PLANNING_WEEK = WEEK_DAYS * ONE_DAY
USUAL_SAFETY_FRACTION = 0.9
"""[CHOICE] Of ten weeks, one may turn out drier than a program was made for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerSettings:
    """What the timer of a block can be set to, and when the grower sets it."""

    start_count: int
    """Start times a day that it has."""
    run_step_min: float
    """Shortest step of the run time."""
    day_rule: DayRule
    set_weekday: int
    """Day on which it is set, 1 for Monday to 7."""
    safety_fraction: float = USUAL_SAFETY_FRACTION
    """Probability with which the crop must not run short under a program."""

    def days_until_setting(self, day: date) -> int:
        """Days that a program set on this day would hold: a week on the setting day itself."""
        return (self.set_weekday - day.isoweekday() - 1) % WEEK_DAYS + 1


class TimerColumns(TypedDict):
    """What timers can be set to, arrays (timers,), by the names of the search."""

    most_starts: Ints
    run_step_min: Floats
    day_rule: Ints
    safety_fraction: Floats


def as_columns(settings: Sequence[TimerSettings]) -> TimerColumns:
    """The settings of some timers as arrays."""
    return TimerColumns(
        most_starts=np.array([each.start_count for each in settings], np.int64),
        run_step_min=np.array([each.run_step_min for each in settings]),
        day_rule=np.array([int(each.day_rule) for each in settings], np.int64),
        safety_fraction=np.array([each.safety_fraction for each in settings]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TimerProgram:
    """What a timer runs from a day on: the same pulses on each of its days."""

    first_day: date
    """The day from which the days are counted: that of the setting."""
    day_rule: DayRule
    day_mask: int
    """Bits of the seven days from ``first_day`` on; 0 where the timer is off."""
    start_count: int
    first_start_min: int
    """Minutes since local midnight, as the timer's clock counts them."""
    spacing_min: int
    run_min: float
    """Run time of each start."""

    @property
    def is_off(self) -> bool:
        """Whether it runs on no day."""
        return self.day_mask == 0 or self.start_count == 0

    @property
    def interval_days(self) -> int:
        """Days from one run to the next, for a timer that counts days."""
        days = [day for day in range(WEEK_DAYS) if self.day_mask >> day & 1]
        return days[1] - days[0] if len(days) > 1 else WEEK_DAYS

    @property
    def weekdays(self) -> tuple[int, ...]:
        """The weekdays of the mask, 1 for Monday to 7, in order."""
        first = self.first_day.isoweekday() - 1
        marked = (day for day in range(WEEK_DAYS) if self.day_mask >> day & 1)
        return tuple(sorted((first + day) % WEEK_DAYS + 1 for day in marked))

    @property
    def start_times_min(self) -> tuple[int, ...]:
        """The starts of a day, minutes since local midnight."""
        return tuple(
            self.first_start_min + place * self.spacing_min for place in range(self.start_count)
        )

    @property
    def minutes_a_week(self) -> float:
        """Minutes of running in seven days from the first one."""
        return self.day_mask.bit_count() * self.start_count * self.run_min

    def runs_on(self, day: date) -> bool:
        """Whether it runs on a day, which may be long after it was set."""
        if self.is_off or day < self.first_day:
            return False
        since = (day - self.first_day).days
        if self.day_rule is not DayRule.INTERVAL:
            return bool(self.day_mask >> (since % WEEK_DAYS) & 1)
        first = (self.day_mask & -self.day_mask).bit_length() - 1
        return since >= first and (since - first) % self.interval_days == 0

    def pulses_on(self, day: date) -> tuple[Pulse, ...]:
        """Its pulses on a day in whole minutes, that lose less than one of the day's minutes."""
        if not self.runs_on(day):
            return ()
        ends = [round(self.run_min * count) for count in range(self.start_count + 1)]
        return tuple(
            Pulse(start, end - begin)
            for start, (begin, end) in zip(self.start_times_min, pairwise(ends), strict=True)
        )

    def sets_the_same(self, other: TimerProgram) -> bool:
        """Whether the timer would be set to the same buttons."""
        if self.is_off or other.is_off:
            return self.is_off and other.is_off
        mine = (self.day_rule, self.start_times_min, self.run_min)
        theirs = (other.day_rule, other.start_times_min, other.run_min)
        if self.day_rule is DayRule.INTERVAL:
            return mine == theirs and self.interval_days == other.interval_days
        return mine == theirs and self.weekdays == other.weekdays


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedProgram:
    """A program that was worked out for a block, and whether the grower set it."""

    program_id: str
    block_id: str
    program: TimerProgram
    offered_at: datetime
    is_early: bool
    """Advice between two settings, because the program in force no longer fits."""
    excess_mm: float | None
    """Depletion beyond readily available water that it leads to, summed over the midnights, in
    weather as dry as the timer's safety asks for. This and the next three are None for a program
    that was not worked out but reported."""
    drainage_mm: float | None
    """Mean of what drains of rain and irrigation in its week."""
    depletion_end_mm: float | None
    """Mean depletion at the end of its week."""
    normal_day_count: int | None
    """Days of its week that no forecast reached: the season's normal ET0, or the mean of the
    days before or around."""
    earlier_year_count: int | None
    """Years whose measured weather those days rest on; 0: on none, and they are dry."""
    set_from: date | None
    """First day that it runs; None as long as nobody has said that it was set."""
    set_at: datetime | None
    reporter: str = ""


def in_force(programs: Sequence[OfferedProgram], day: date) -> OfferedProgram | None:
    """The program that a timer runs on a day: the last that was set by then."""
    was_set = [each for each in programs if each.set_from is not None and each.set_from <= day]
    return max(was_set, key=lambda each: (each.set_from, each.set_at), default=None)
