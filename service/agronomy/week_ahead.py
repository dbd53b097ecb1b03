"""The records of a week under a timer.

In: the days until it is set again, and what it can be set to. Out: the program chosen. They are
named tuples, so that the compiled search reads them as they are.
"""

from __future__ import annotations

import enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.records import Floats, Ints

WEEK_DAYS = 7


class DayRule(enum.IntEnum):
    """How a timer lets its days be chosen."""

    EVERY_DAY = 0
    WEEKDAYS = 1
    """Any set of weekdays."""
    INTERVAL = 2
    """Every so many days, from the day on which it is set or the day after."""


class WeekAhead(NamedTuple):
    """The balance and the days until the next setting; arrays (days, blocks) unless noted.

    There are at most seven days, the first of them the one on which the timer is set.
    """

    depletion_start_mm: Floats
    """(blocks,) at the midnight before the first day."""
    taw_mm: Floats
    raw_mm: Floats
    sunrise_min: Floats
    sunset_min: Floats
    crop_et_mm: Floats
    """(courses, days, blocks) use of the zone's water in each course of the weather."""
    rain_entering_mm: Floats
    """(courses, days, blocks) what would enter the zone."""
    course_weight: Floats
    """(courses, blocks) probability of each course; sums to 1 for every block."""


class TimerBatch(NamedTuple):
    """What the timer and the system of each block allow, arrays (blocks,)."""

    most_starts: Ints
    """Start times a day that the timer has."""
    run_step_min: Floats
    """Shortest step of the run time: 0.5, 1, 5 min."""
    day_rule: Ints
    """A :class:`DayRule`."""
    opens_min: Ints
    """Hours in which the block may run on all those days, minutes since local midnight."""
    closes_min: Ints
    shortest_pulse_min: Ints
    longest_pulse_min: Ints
    daily_maximum_min: Floats
    off_ratio: Floats
    valve_gap_min: Ints
    net_rate_mm_per_min: Floats
    flow_l_per_h: Floats
    rain_room_fraction: Floats
    safety_fraction: Floats
    """Probability with which readily available water has to hold."""
    supply_index: Ints
    open_day_mask: Ints
    """Bits, from the setting day on, of the days on which there is water in those hours."""


class WeekProgram(NamedTuple):
    """The program chosen for each block, arrays (blocks,); no start where it is turned off."""

    day_mask: Ints
    """Bits from the setting day on."""
    start_count: Ints
    first_start_min: Ints
    spacing_min: Ints
    """From one start of a day to the next."""
    run_min: Floats
    """Run time of every start, a whole number of the timer's steps."""
    cost_mm: Floats
    excess_mm: Floats
    """Depletion beyond readily available water, summed over the midnights of the week, in the
    course of the weather that is as dry as the block's safety asks for."""
    drainage_mm: Floats
    """Mean of what drains of rain and irrigation in the week."""
    depletion_end_mm: Floats
    """Mean depletion at the last midnight."""

    @property
    def is_known(self) -> NDArray[np.bool_]:
        """False where a number of the block or of its weather is not known."""
        known: NDArray[np.bool_] = np.isfinite(self.cost_mm)
        return known
