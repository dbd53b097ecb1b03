"""Which civil days a rain-gauge reading belongs to, and how much of it to each.

In: the instants between which the rain fell, the zone, and what a model says of the days' rain.
Out: civil days and the share of the reading that each is given; the shares add up to one.

A gauge read at 07:00 holds the rain since 07:00 the day before, so most of the period lies in the
day before, and that day gets all of it. The same rule, applied to a longer period, gives the rain
to the days of which more than half lies in it: rain between readings at 07:00 on Monday and on
Thursday is shared among Monday, Tuesday and Wednesday, and Thursday's own waits for the next one.
That the observer's day is named by the day on which it ends is the practice of cooperative rain
stations; booking it to the day of the greater part, and spreading by the model, are choices of this
service.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from service.agronomy.civil_day import ONE_DAY, midnight_utc, zone_rules
from service.agronomy.records import Days, Floats

ONE_HOUR = timedelta(hours=1)
AROUND_ONE_DAY_H = 36.0  # [h] a choice: a reading over no more than this belongs to one day


@dataclass(frozen=True, slots=True)
class CoveredDays:
    """The civil days that a span of time touches, arrays (days,)."""

    days: Days
    covered_h: Floats
    """Hours of the span that lie in each day."""
    length_h: Floats
    """Hours that the day has: 24, or 23 or 25 where the clock changes."""


def covered_days(covers_from: datetime, read_at: datetime, zone: str) -> CoveredDays:
    """The civil days between two instants and the hours of each that lie between them.

    Shapes: two instants, one name; result (days,).
    covers_from, read_at: aware, the first before the second.
    Returns: CoveredDays in order, without days that the zone skipped.
    Equation: seconds between two instants / 3600.
    >>> from datetime import UTC
    >>> span = covered_days(datetime(2026, 7, 6, 12, tzinfo=UTC),
    ...     datetime(2026, 7, 7, 12, tzinfo=UTC), "America/Chicago")
    >>> span.days.tolist()
    [datetime.date(2026, 7, 6), datetime.date(2026, 7, 7)]
    >>> span.covered_h.tolist()
    [17.0, 7.0]
    """
    rules = zone_rules(zone)
    day, last_day = covers_from.astimezone(rules).date(), read_at.astimezone(rules).date()
    days: list[date] = []
    covered_h: list[float] = []
    length_h: list[float] = []
    while day <= last_day:
        begins, ends = midnight_utc(day, zone), midnight_utc(day + ONE_DAY, zone)
        shared = min(ends, read_at) - max(begins, covers_from)
        if shared > timedelta(0):
            days.append(day)
            covered_h.append(shared / ONE_HOUR)
            length_h.append((ends - begins) / ONE_HOUR)
        day += ONE_DAY
    return CoveredDays(
        days=np.array(days, dtype="datetime64[D]"),
        covered_h=np.array(covered_h),
        length_h=np.array(length_h),
    )


def rain_shares(covered_h: Floats, length_h: Floats, model_rain_mm: Floats) -> Floats:
    """The share of a reading that each civil day gets, NaN for a day it does not cover.

    Shapes: all (days,), the days that the reading covers, in order.
    covered_h: hours of the reading's time in each day, > 0; length_h: hours of the day.
    model_rain_mm: what a model says of each whole day's rain; NaN where it says nothing.
    Returns: shares that add up to 1, NaN for days that are left to other readings. Up to 36 h in
    all: 1 for the day with the most hours, the later one of two alike. Longer: over the days that
    are covered by more than half (over all if none is), by the model's rain of the covered part of
    each; by the covered hours where the model does not know one of them or says that none had rain.
    Equation: share = w / sum(w), w = P_model t_covered / t_day, or w = t_covered. [CHOICE]
    >>> day = np.full(2, 24.0)
    >>> rain_shares(np.array([17.0, 7.0]), day, np.array([0.0, 30.0])).tolist()
    [1.0, nan]
    >>> day = np.full(4, 24.0)
    >>> rain_shares(np.array([17.0, 24.0, 24.0, 7.0]), day, np.array([0.0, 6.0, 2.0, 9.0])).tolist()
    [0.0, 0.75, 0.25, nan]
    """
    shares = np.full(covered_h.size, np.nan)
    if covered_h.sum() <= AROUND_ONE_DAY_H:
        shares[covered_h.size - 1 - int(np.argmax(covered_h[::-1]))] = 1.0
        return shares
    is_booked = covered_h > length_h / 2.0
    if not is_booked.any():
        is_booked = np.ones_like(is_booked)
    weights = model_rain_mm[is_booked] * covered_h[is_booked] / length_h[is_booked]
    # Written so that NaN fails it too.
    if not weights.sum() > 0.0:
        weights = covered_h[is_booked]
    shares[is_booked] = weights / weights.sum()
    return shares


def model_rain_mm(covered: CoveredDays, rain_mm: Floats) -> float:
    """Rain that a model gives for the period of a reading.

    Shapes: rain_mm (days,), the model's rain of each whole day that the reading covers.
    Returns: depth [mm]; NaN where the model does not know one of the days.
    Equation: sum of P t_covered / t_day; the rain of a day is taken as even over it. [CHOICE]
    >>> days = np.array(["2026-07-06", "2026-07-07"], "M8[D]")
    >>> span = CoveredDays(days, np.array([18.0, 6.0]), np.array([24.0, 24.0]))
    >>> model_rain_mm(span, np.array([4.0, 8.0]))
    5.0
    """
    return float((rain_mm * covered.covered_h / covered.length_h).sum())
