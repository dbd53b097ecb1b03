"""Hours of every week in which a supply gives no water: a peak tariff, the days of a district.

In go wall-clock hours with the weekdays on which they begin; out come their minutes of a civil day,
and the hours that a timer can keep all week. Hours across midnight belong to the day on which they
begin; on days of a clock change they begin and end by the clock, as windows do.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from service.agronomy.civil_day import elapsed_wall_min
from service.agronomy.records import WallWindow, WeeklyNoWater
from service.unit_sizes import MINUTES_PER_DAY


class WeeklyEffect(enum.IntEnum):
    """What weekly hours without water did to the pulses of a block's day."""

    NONE = 0
    MOVED = 1
    """The same minutes at other times, or in other pulses."""
    SHORTENED = 2


WEEKDAYS = (1, 2, 3, 4, 5, 6, 7)
"""Monday to Sunday."""


@dataclass(frozen=True, slots=True)
class ClosedHours:
    """A part of a civil day without water, in minutes elapsed since its midnight."""

    start_min: int
    end_min: int
    reason: str


@dataclass(frozen=True, slots=True)
class HoursOfWeek:
    """One span of the clock that is open on some weekdays, whole."""

    opens_wall_min: int
    closes_wall_min: int
    weekdays: tuple[int, ...]


def closed_hours(weekly: Sequence[WeeklyNoWater], day: date, zone: str) -> tuple[ClosedHours, ...]:
    """The hours without water of one civil day, in order, those that began the day before too.

    Shapes: one supply, one day.
    Returns: parts of the day; hours that a clock change removes are left out.
    Source: the civil day; times on the clock, as contracts with a supplier state them.

    Peak hours of working days, on a Monday:

    >>> peak = WeeklyNoWater((1, 2, 3, 4, 5), 16 * 60, 20 * 60, "peak tariff")
    >>> closed_hours([peak], date(2026, 7, 13), "America/New_York")
    (ClosedHours(start_min=960, end_min=1200, reason='peak tariff'),)
    >>> closed_hours([peak], date(2026, 7, 12), "America/New_York")
    ()
    """
    found = []
    for hours in weekly:
        for starts, ends in _parts_on(hours, day.isoweekday()):
            start_min, end_min = (elapsed_wall_min(each, day, zone) for each in (starts, ends))
            if start_min < end_min:
                found.append(ClosedHours(start_min, end_min, hours.reason))
    return tuple(sorted(found, key=lambda each: (each.start_min, each.end_min)))


def hours_of_week(
    own: Sequence[WallWindow],
    shared: Sequence[WallWindow],
    weekly: Sequence[WeeklyNoWater],
    *,
    shortest_pulse_min: int,
) -> HoursOfWeek | None:
    """The hours that a timer can run on as many weekdays as pay: the same span on each of them.

    Shapes: one block.
    shortest_pulse_min: a span has to hold the shortest pulse [min].
    Returns: of all spans the one with the most open minutes a week, the one on more days first
    [CHOICE]; None where no day has one.
    Source: arrangement only.

    Peak hours on working days leave the time before them on every day:

    >>> peak = WeeklyNoWater((1, 2, 3, 4, 5), 16 * 60, 20 * 60, "peak tariff")
    >>> window = [WallWindow(4 * 60, 21 * 60)]
    >>> hours_of_week(window, window, [peak], shortest_pulse_min=10)
    HoursOfWeek(opens_wall_min=240, closes_wall_min=960, weekdays=(1, 2, 3, 4, 5, 6, 7))
    """
    open_on = {day: open_minutes(own, shared, weekly, day) for day in WEEKDAYS}
    edges = {day: spans_of(minutes) for day, minutes in open_on.items()}
    opens = {opens for spans in edges.values() for opens, _ in spans}
    closes = {closes for spans in edges.values() for _, closes in spans}
    best, most = None, (0, 0)
    for first in sorted(opens):
        for last in sorted(closes):
            if last - first < shortest_pulse_min:
                continue
            days = tuple(day for day in WEEKDAYS if open_on[day][first:last].all())
            worth = (len(days) * (last - first), len(days))
            if days and worth > most:
                best, most = HoursOfWeek(first, last, days), worth
    return best


def open_minutes(
    own: Sequence[WallWindow],
    shared: Sequence[WallWindow],
    weekly: Sequence[WeeklyNoWater],
    weekday: int,
) -> NDArray[np.bool_]:
    """Which minutes of the clock a block may run on a weekday.

    Shapes: one block; result (1440,).
    weekday: 1 Monday to 7 Sunday.
    Returns: whether windows of block and supply are open, and no weekly hours without water hold.
    Source: arrangement only.
    >>> int(open_minutes([WallWindow(0, 60)], [WallWindow(30, 90)], [], 1).sum())
    30
    """
    is_open = _inside(own) & _inside(shared)
    for hours in weekly:
        for starts, ends in _parts_on(hours, weekday):
            is_open[starts:ends] = False
    return is_open


def spans_of(minutes: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The spans of a day's minutes for which something holds.

    Shapes: minutes (1440,).
    Returns: beginning and end of each, in order; the end belongs to the next.
    Source: definition.
    >>> spans_of(np.array([False, True, True, False, True]))
    [(1, 3), (4, 5)]
    """
    steps = np.diff(np.concatenate(([0], minutes.astype(np.int8), [0])))
    begins, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    return list(zip(begins.tolist(), ends.tolist(), strict=True))


def _parts_on(hours: WeeklyNoWater, weekday: int) -> list[tuple[int, int]]:
    """What falls on a weekday of hours that may have begun the day before."""
    parts = []
    passes_midnight = hours.ends_wall_min <= hours.starts_wall_min
    if passes_midnight and (weekday - 1 or 7) in hours.weekdays:
        parts.append((0, hours.ends_wall_min))
    if weekday in hours.weekdays:
        ends = MINUTES_PER_DAY if passes_midnight else hours.ends_wall_min
        parts.append((hours.starts_wall_min, ends))
    return parts


def _inside(windows: Sequence[WallWindow]) -> NDArray[np.bool_]:
    inside = np.zeros(MINUTES_PER_DAY, dtype=np.bool_)
    for window in windows:
        inside[window.opens_wall_min : window.closes_wall_min] = True
    return inside
