"""Civil days from what a station measured interval by interval.

In: intervals between instants (hourly, every ten minutes, or whole days) with the means, extremes
and totals of each. Out: one value per civil day of the site's own zone, and for every value a note
of how many of the day's hours it is based on and what was estimated.

A mean counts each interval by the hours it shares with the day; a total is split in proportion, so
a logger on another offset and a day of 23 or 25 hours need no special case. A day needs 22 hours.
Radiation bridges gaps of up to two hours between its neighbours, since a sum cannot skip an hour at
noon. Rain with an hour missing is marked ``partial``. An interval of a whole day is not split: it
belongs to the day that holds the greater part of it. The mean vapour pressure of hours is that of
their dewpoints, or of their temperature and humidity (FAO-56 Eq. 14 and Eq. 10, hour by hour).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.civil_day import midnight_utc, zone_rules
from service.agronomy.records import Days, Floats, Ints

Note = dict[str, object]
HOUR_S = 3600
SHORTEST_DAY_S = 23 * HOUR_S  # [s] an interval of at least this length is a whole day
FEWEST_HOURS = 22.0  # [h] a choice of this service: a day with fewer hours is not used
LONGEST_BRIDGE_S = 2 * HOUR_S  # [s] a choice: gap of radiation that its neighbours bridge
STUCK_S = 12 * HOUR_S  # [s] a choice: a value unchanged for this long is suspect
SATURATED_PCT = 99.5  # [%] humidity that may be constant through a foggy night
SLACK_HOURS = 1e-6  # [h] rounding of sums of hours

MEANS = ("tdew_c", "ea_kpa", "rhmean_pct", "wind_m_s")
EXTREMES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "tmax_c": ("tmax_c", "temperature_c"),
        "tmin_c": ("tmin_c", "temperature_c"),
        "rhmax_pct": ("rhmax_pct", "rhmean_pct"),
        "rhmin_pct": ("rhmin_pct", "rhmean_pct"),
    }
)
"""Fields of the day, the field of the interval they are taken from, and what replaces it."""
DAY_FIELDS = (*EXTREMES, *MEANS, "rs_mj_m2", "rain_mm")


@dataclass(frozen=True, slots=True)
class StationDays:
    """What a station knows of consecutive civil days, arrays (days,), NaN where it does not."""

    days: Days
    fields: Mapping[str, Floats]
    notes: Mapping[str, tuple[Note, ...]]
    """Per field and day: ``hours_present``, and ``partial``, ``bridged_h``, ``stuck``,
    ``window_shift_h`` or ``estimated_from`` where they apply."""


@dataclass(frozen=True, slots=True)
class _Draft:
    """Days being assembled: whole days go in first, hours replace them."""

    bounds: Ints
    """(days + 1,) instants at which the days begin and end."""
    values: dict[str, Floats]
    notes: dict[str, list[Note]]

    def keep(self, name: str, found: Floats, hours: Floats) -> None:
        """Take over the days with enough hours; the others only note how many hours they had."""
        is_enough = (hours >= FEWEST_HOURS - SLACK_HOURS) & np.isfinite(found)
        self.values[name] = np.where(is_enough, found, self.values[name])
        for day in np.flatnonzero(hours > 0.0).tolist():
            if is_enough[day] or np.isnan(self.values[name][day]):
                self.notes[name][day] = {"hours_present": short_hours(hours[day])}


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Intervals cut at midnight."""

    rows: Ints
    """Interval of each piece."""
    day: Ints
    hours: Floats
    day_lengths: Floats
    """(days,) hours."""

    def hours_of(self, known: NDArray[np.bool_]) -> Floats:
        return self.sum(known.astype(np.float64)[self.rows] * self.hours)

    def sum(self, values: Floats) -> Floats:
        total: Floats = np.bincount(self.day, values, minlength=self.day_lengths.size).astype(
            np.float64
        )
        return total


def station_days(
    start_epoch_s: Ints, end_epoch_s: Ints, fields: Mapping[str, Floats], *, zone: str
) -> StationDays:
    """What a station measured on each civil day that its intervals touch.

    Shapes: start_epoch_s, end_epoch_s and each field (intervals,), rising; result (days,).
    start_epoch_s, end_epoch_s: seconds since 1970 UTC. Intervals shorter than a day do not overlap
    one another, nor do whole days; where both are there, the shorter ones count if they are enough.
    fields: NaN where an interval has no value; rs_mj_m2 and rain_mm are totals of the interval.
    Returns: StationDays from the first to the last day touched.
    Equation: FAO-56 Eq. 10, 11 and 14 for the vapour pressure; what makes a day is [CHOICE].
    >>> start = np.arange(24) * 3600 + 1783314000  # 2026-07-06 00:00 in Chicago
    >>> cut = station_days(start, start + 3600, {"rain_mm": np.full(24, 0.5)},
    ...     zone="America/Chicago")
    >>> cut.days.tolist(), cut.fields["rain_mm"].tolist()
    ([datetime.date(2026, 7, 6)], [12.0])
    """
    days, bounds = _days(int(start_epoch_s.min()), int(end_epoch_s.max()), zone)
    is_day = end_epoch_s - start_epoch_s >= SHORTEST_DAY_S
    draft = _Draft(
        bounds=bounds,
        values={name: np.full(days.size, np.nan) for name in DAY_FIELDS},
        notes={name: [{} for _ in range(days.size)] for name in DAY_FIELDS},
    )
    for is_chosen, add in ((is_day, _book_days), (~is_day, _cut_hours)):
        if is_chosen.any():
            chosen = {name: column[is_chosen] for name, column in fields.items()}
            add(start_epoch_s[is_chosen], end_epoch_s[is_chosen], chosen, draft)
    return StationDays(
        days=days,
        fields=draft.values,
        notes={name: tuple(each) for name, each in draft.notes.items()},
    )


def stuck_intervals(
    start_epoch_s: Ints, end_epoch_s: Ints, values: Floats, *, resting: float
) -> NDArray[np.bool_]:
    """Which intervals belong to a run of the same value for twelve hours or more.

    Shapes: all (intervals,), rising.
    resting: a value that may be constant, such as no radiation at night; NaN for none.
    Returns: True for every interval of such a run. A gap of more than an hour ends a run.
    Source: twelve hours are a choice of this service.
    >>> start = np.arange(14) * 3600
    >>> values = np.array([20.0] + [21.5] * 12 + [22.0])
    >>> int(stuck_intervals(start, start + 3600, values, resting=np.nan).sum())
    12
    """
    known = np.flatnonzero(np.isfinite(values) & (values != resting))
    result = np.zeros(values.size, dtype=np.bool_)
    if not known.size:
        return result
    starts, ends, given = start_epoch_s[known], end_epoch_s[known], values[known]
    is_new = (given[1:] != given[:-1]) | (starts[1:] - ends[:-1] > HOUR_S)
    run = np.concatenate(([0], np.cumsum(is_new)))
    first = np.flatnonzero(np.concatenate(([True], is_new)))
    last = np.concatenate((first[1:], [known.size])) - 1
    is_stuck = (ends[last] - starts[first] >= STUCK_S) & (last > first)
    result[known] = is_stuck[run]
    return result


def find_stuck(
    start_epoch_s: Ints, end_epoch_s: Ints, fields: Mapping[str, Floats]
) -> dict[str, NDArray[np.bool_]]:
    """Per field, the intervals shorter than a day in which a sensor seems stuck.

    Shapes: start_epoch_s, end_epoch_s, each field and each result (intervals,), rising.
    Returns: only fields with such an interval. Rain is not judged, nor darkness, nor air that is
    saturated, since these may really last.
    Source: see :func:`stuck_intervals`.
    >>> start = np.arange(12) * 3600
    >>> list(find_stuck(start, start + 3600, {"wind_m_s": np.ones(12), "rain_mm": np.zeros(12)}))
    ['wind_m_s']
    """
    is_short = end_epoch_s - start_epoch_s < SHORTEST_DAY_S
    found = {}
    for name, column in fields.items():
        if name == "rain_mm":
            continue
        values = np.where(is_short, column, np.nan)
        resting = 0.0 if name == "rs_mj_m2" else np.nan
        if name.endswith("_pct"):
            values = np.where(values >= SATURATED_PCT, np.nan, values)
        stuck = stuck_intervals(start_epoch_s, end_epoch_s, values, resting=resting)
        if stuck.any():
            found[name] = stuck
    return found


def _days(first_s: int, last_s: int, zone: str) -> tuple[Days, Ints]:
    """The civil days of a span, and the instants that bound them, (days,) and (days + 1,)."""
    rules = zone_rules(zone)
    day = datetime.fromtimestamp(first_s, UTC).astimezone(rules).date()
    last_day = datetime.fromtimestamp(last_s - 1, UTC).astimezone(rules).date()
    days: list[date] = []
    bounds = [round(midnight_utc(day, zone).timestamp())]
    while day <= last_day:
        ends = round(midnight_utc(day + timedelta(days=1), zone).timestamp())
        if ends > bounds[-1]:  # not a date that the zone skipped
            days.append(day)
            bounds.append(ends)
        day += timedelta(days=1)
    return np.array(days, dtype="datetime64[D]"), np.array(bounds, dtype=np.int64)


def _cut(starts: Ints, ends: Ints, bounds: Ints) -> _Pieces:
    """Cut intervals shorter than a day at midnight: each touches two days at most."""
    day = np.searchsorted(bounds, starts, side="right") - 1
    middle = np.minimum(ends, bounds[day + 1])
    over = np.flatnonzero(ends > middle)
    rows = np.arange(starts.size)
    return _Pieces(
        rows=np.concatenate((rows, over)),
        day=np.concatenate((day, day[over] + 1)),
        hours=np.concatenate((middle - starts, (ends - middle)[over])) / HOUR_S,
        day_lengths=np.diff(bounds) / HOUR_S,
    )


def _cut_hours(starts: Ints, ends: Ints, fields: Mapping[str, Floats], draft: _Draft) -> None:
    pieces = _cut(starts, ends, draft.bounds)
    missing = np.full(starts.size, np.nan)
    given = {name: fields.get(name, missing) for name in ("temperature_c", *draft.values)}
    estimated_from = ""
    if not np.isfinite(given["ea_kpa"]).any():
        given["ea_kpa"], estimated_from = _hourly_vapour_pressure(given)
    for name in MEANS:
        known = np.isfinite(given[name])
        hours = pieces.hours_of(known)
        total = pieces.sum(np.where(known, given[name], 0.0)[pieces.rows] * pieces.hours)
        draft.keep(name, total / np.where(hours > 0.0, hours, 1.0), hours)
    for name, (own, stand_in) in EXTREMES.items():
        column = np.where(np.isfinite(given[own]), given[own], given[stand_in])
        sign = -1.0 if name in ("tmin_c", "rhmin_pct") else 1.0
        lengths = (ends - starts)[pieces.rows] / HOUR_S
        belongs = pieces.hours >= np.minimum(lengths / 2.0, 1.0) - SLACK_HOURS
        highest = np.full(draft.bounds.size - 1, -np.inf)
        known = np.isfinite(column)
        chosen = belongs & known[pieces.rows]
        np.maximum.at(highest, pieces.day[chosen], sign * column[pieces.rows[chosen]])
        draft.keep(name, sign * highest, pieces.hours_of(known))
    _add_radiation(starts, ends, given["rs_mj_m2"], draft)
    _add_rain(pieces, ends - starts, given["rain_mm"], draft)
    for name, stuck in find_stuck(starts, ends, fields).items():
        for day in np.unique(pieces.day[stuck[pieces.rows]]).tolist():
            for target in _fed_by(name):
                draft.notes[target][day]["stuck"] = True
    if estimated_from:
        for note in draft.notes["ea_kpa"]:
            if note.get("hours_present"):
                note["estimated_from"] = estimated_from


def _fed_by(name: str) -> tuple[str, ...]:
    """The fields of a day that a field of the intervals goes into."""
    extremes = tuple(day for day, sources in EXTREMES.items() if name in sources)
    return extremes + ((name,) if name in (*MEANS, "rs_mj_m2") else ())


def _hourly_vapour_pressure(given: Mapping[str, Floats]) -> tuple[Floats, str]:
    if np.isfinite(given["tdew_c"]).any():
        return saturation_vapour_pressure_kpa(given["tdew_c"]), "dewpoint of each interval"
    pressure = saturation_vapour_pressure_kpa(given["temperature_c"]) * given["rhmean_pct"] / 100.0
    return pressure, "temperature and humidity of each interval"


def _add_radiation(starts: Ints, ends: Ints, totals: Floats, draft: _Draft) -> None:
    known = np.flatnonzero(np.isfinite(totals))
    if not known.size:
        return
    begins, closes, given = starts[known], ends[known], totals[known]
    rate = given / (closes - begins)
    gap = begins[1:] - closes[:-1]
    bridged = np.flatnonzero((gap > 0) & (gap <= LONGEST_BRIDGE_S))
    bridge = gap[bridged] * (rate[bridged] + rate[bridged + 1]) / 2.0
    measured = _cut(begins, closes, draft.bounds)
    filled = _cut(closes[bridged], begins[bridged + 1], draft.bounds)

    def share(pieces: _Pieces, amounts: Floats, lengths: Ints) -> Floats:
        return pieces.sum(amounts[pieces.rows] * pieces.hours * HOUR_S / lengths[pieces.rows])

    total = share(measured, given, closes - begins) + share(filled, bridge, gap[bridged])
    hours, filled_h = measured.sum(measured.hours), filled.sum(filled.hours)
    is_whole = hours + filled_h >= measured.day_lengths - SLACK_HOURS
    draft.keep("rs_mj_m2", np.where(is_whole, total, np.nan), hours)
    for day in np.flatnonzero(is_whole & (filled_h > 0.0)).tolist():
        draft.notes["rs_mj_m2"][day]["bridged_h"] = short_hours(filled_h[day])


def _add_rain(pieces: _Pieces, lengths: Ints, totals: Floats, draft: _Draft) -> None:
    known = np.isfinite(totals)
    amounts = np.where(known, totals, 0.0) * HOUR_S / lengths
    total = pieces.sum(amounts[pieces.rows] * pieces.hours)
    hours = pieces.hours_of(known)
    had_value = np.isfinite(draft.values["rain_mm"])
    draft.keep("rain_mm", total, hours)
    is_partial = (hours > 0.0) & (hours < pieces.day_lengths - SLACK_HOURS)
    is_kept = hours >= FEWEST_HOURS - SLACK_HOURS
    for day in np.flatnonzero(is_partial & (is_kept | ~had_value)).tolist():
        draft.notes["rain_mm"][day] |= {"partial": True, "partial_mm": round(float(total[day]), 2)}


def _book_days(starts: Ints, ends: Ints, fields: Mapping[str, Floats], draft: _Draft) -> None:
    """Give each whole-day interval to the civil day that holds the greater part of it."""
    day = np.searchsorted(draft.bounds, (starts + ends) // 2, side="right") - 1
    shared = np.minimum(ends, draft.bounds[day + 1]) - np.maximum(starts, draft.bounds[day])
    hours = shared / HOUR_S
    shift_h = np.abs(starts - draft.bounds[day]) / HOUR_S
    for name in draft.values:
        if name not in fields:
            continue
        # Rain of another day's worth of hours is still that day's rain; temperatures are not.
        is_enough = (hours >= FEWEST_HOURS - SLACK_HOURS) | (name == "rain_mm")
        for row in np.flatnonzero(np.isfinite(fields[name])).tolist():
            note: Note = {"hours_present": short_hours(hours[row])}
            if shift_h[row] > SLACK_HOURS:
                note["window_shift_h"] = short_hours(shift_h[row])
            draft.notes[name][day[row]] = note
            if is_enough[row]:
                draft.values[name][day[row]] = fields[name][row]


def short_hours(hours: float) -> float:
    """Hours as a note gives them: to two decimals, and whole hours as integers.

    Shapes: one number.
    hours: length of time [h].
    Returns: the rounded hours [h].
    >>> short_hours(22.0), short_hours(22.337)
    (22, 22.34)
    """
    rounded = round(float(hours), 2)
    return int(rounded) if rounded.is_integer() else rounded
