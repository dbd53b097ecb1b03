"""Civil days from the time steps of a weather service, and what each day's value is based on.

In: values on intervals between UTC instants. Out: one value per civil day of a place's own zone
and a note on how many of its hours were there. A mean counts each interval by the hours it shares
with the day, a total is split in proportion; so an interval across midnight, a zone with a half
hour in its offset and a day of 23 or 25 hours are all the same case. A value at an instant counts
for the hour that it begins, a value "of the preceding hour" for the hour that it ends.

Mean vapour pressure is the mean over the hours of e0(dewpoint) (FAO-56 Eq. 14 hour by hour), the
best evidence of FAO-56 chapter 3; mean dewpoint and the extremes of relative humidity are given
beside it. Rain of a day that lacks an hour or two is kept and marked ``partial``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from service.agronomy.civil_day import midnight_utc
from service.agronomy.records import Floats
from service.agronomy.station_day import FEWEST_HOURS, SLACK_HOURS, short_hours
from service.agronomy.weather_agreement import SUN_OFFSET_H
from service.records.farms import SiteDefinition
from service.records.weather import SUN_NOTE, WEATHER_FIELDS, SourceProblem, WeatherRows

Instants = NDArray[np.datetime64]
"""UTC, to the second."""

ONE_HOUR = np.timedelta64(3600, "s")

PLAUSIBLE: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "temperature_c": (-60.0, 60.0),
        "humidity_pct": (0.0, 105.0),
        "wind_m_s": (0.0, 40.0),
        "radiation_w_m2": (0.0, 1500.0),  # the solar constant is 1361
        "radiation_mj_m2": (0.0, 50.0),
        "rain_mm": (0.0, 500.0),
        "probability_pct": (0.0, 100.0),
        "cloud_pct": (0.0, 100.0),
    }
)
"""Limits beyond which a value of a service is a mistake or a sentinel and counts as missing; a
choice of this service. Finer checks of whole days come later, in ``agronomy.weather_day``."""


@dataclass(frozen=True, slots=True)
class DayCut:
    """How many hours each interval shares with each civil day."""

    shared: Floats
    """(days, intervals)"""
    lengths: Floats
    """(intervals,)"""
    day_lengths: Floats
    """(days,)"""


@dataclass(frozen=True, slots=True)
class DayField:
    """One quantity by day, NaN where it is not known, with a note on every day."""

    values: Floats
    notes: tuple[Mapping[str, object], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteDays:
    """What a source knows of consecutive days at one site."""

    site_index: int
    days: Sequence[date]
    kinds: Sequence[str]
    issued_at: datetime
    wind_height_m: float
    fields: Mapping[str, DayField]


def list_days(first_day: date, last_day: date) -> list[date]:
    """Every date from the first to the last."""
    return [first_day + timedelta(days=step) for step in range((last_day - first_day).days + 1)]


def as_instants(moments: Sequence[datetime]) -> Instants:
    """Aware datetimes as UTC instants."""
    return np.array([round(moment.timestamp()) for moment in moments], dtype="datetime64[s]")


def day_bounds(days: Sequence[date], zone: str) -> tuple[Instants, Instants]:
    """When each civil day begins and ends."""
    begins = as_instants([midnight_utc(day, zone) for day in days])
    ends = as_instants([midnight_utc(day + timedelta(days=1), zone) for day in days])
    return begins, ends


def day_offset(day: date, zone: str, offset: timedelta) -> int:
    """Minutes by which a day cut with this UTC offset begins after local midnight."""
    begins = datetime.combine(day, time(0), UTC) - offset
    return round((begins - midnight_utc(day, zone)).total_seconds() / 60.0)


def cut(starts: Instants, ends: Instants, bounds: tuple[Instants, Instants]) -> DayCut:
    """Divide intervals among spans of time, such as those of :func:`day_bounds`."""
    begins, closes = bounds
    overlap = np.minimum(ends, closes[:, np.newaxis]) - np.maximum(starts, begins[:, np.newaxis])
    return DayCut(
        shared=np.maximum(overlap / ONE_HOUR, 0.0),
        lengths=(ends - starts) / ONE_HOUR,
        day_lengths=(closes - begins) / ONE_HOUR,
    )


def plausible(values: Floats, quantity: str) -> Floats:
    """The values with NaN wherever one is outside the limits of its quantity."""
    lowest, highest = PLAUSIBLE[quantity]
    return np.where((values >= lowest) & (values <= highest), values, np.nan)


def mean_of_day(day_cut: DayCut, values: Floats) -> DayField:
    """Mean over the hours that are known."""
    known = np.isfinite(values)
    hours = day_cut.shared @ known.astype(np.float64)
    total = day_cut.shared @ np.where(known, values, 0.0)
    return _noted(total / np.where(hours > 0.0, hours, 1.0), hours)


def highest_of_day(day_cut: DayCut, values: Floats) -> DayField:
    """Highest value of the intervals that lie in the day, by half at least or for an hour."""
    known = np.isfinite(values)
    hours = day_cut.shared @ known.astype(np.float64)
    belongs = day_cut.shared >= np.minimum(day_cut.lengths / 2.0, 1.0) - SLACK_HOURS
    inside = np.where(belongs & known, values, -np.inf)
    return _noted(inside.max(axis=1, initial=-np.inf), hours)


def lowest_of_day(day_cut: DayCut, values: Floats) -> DayField:
    """Lowest value, as :func:`highest_of_day`."""
    highest = highest_of_day(day_cut, -values)
    return DayField(-highest.values, highest.notes)


def radiation_of_day(day_cut: DayCut, values: Floats) -> DayField:
    """Daily sum [MJ m-2] of hourly means [W m-2]; a missing hour is bridged between its neighbours.

    A sum must not simply skip an hour: one at noon is a tenth of the day. Where one side of a gap
    is not known either, the day's sum is not known.
    """
    known = np.isfinite(values)
    hours = day_cut.shared @ known.astype(np.float64)
    bridged = values
    if known.any():
        place = np.arange(values.size)
        bridged = np.interp(place, place[known], values[known], left=np.nan, right=np.nan)
    joules = np.where(np.isfinite(bridged), bridged, 0.0) * 3600.0
    total = day_cut.shared @ joules / 1e6
    covered = day_cut.shared @ np.isfinite(bridged).astype(np.float64)
    total = np.where(covered >= day_cut.day_lengths - SLACK_HOURS, total, np.nan)
    return _noted(total, hours)


def rain_of_day(day_cut: DayCut, values: Floats) -> DayField:
    """Daily sum [mm]; a total over an interval is split in proportion to the hours in each day.

    A sum that lacks some hour is marked ``partial``; one that lacks more than a couple is
    given only in the note, since other sources know better.
    """
    known = np.isfinite(values)
    shares = day_cut.shared / np.where(day_cut.lengths > 0.0, day_cut.lengths, 1.0)
    hours = day_cut.shared @ known.astype(np.float64)
    total = shares @ np.where(known, values, 0.0)
    field = _noted(total, hours)
    notes: list[Mapping[str, object]] = []
    for amount, hour_sum, length, note in zip(
        total, hours, day_cut.day_lengths, field.notes, strict=True
    ):
        if 0.0 < hour_sum < length - SLACK_HOURS:
            notes.append({**note, "partial": True, "partial_mm": round(float(amount), 2)})
        else:
            notes.append(note)
    return DayField(field.values, tuple(notes))


def given_by_day(values: Floats, note: Mapping[str, object]) -> DayField:
    """Values that a service gives by the day, based on an unknown number of hours."""
    return DayField(values, ({"hours_present": None, **note},) * values.size)


def scaled(field: DayField, factor: float) -> DayField:
    """The same field in another unit."""
    return DayField(field.values * factor, field.notes)


def noted_sun(field: DayField, late_h: float) -> DayField:
    """The same with a note on every day, if the hours are not those of the sun at the place."""
    if not abs(late_h) >= SUN_OFFSET_H:
        return field
    return DayField(
        field.values, tuple({**note, SUN_NOTE: round(late_h, 1)} for note in field.notes)
    )


def weather_rows(source: str, parts: Sequence[SiteDays]) -> WeatherRows:
    """All days of which anything at all is known, as rows."""
    columns: dict[str, list[float]] = {name: [] for name in WEATHER_FIELDS}
    sites, days, kinds, issued, heights, notes = [], [], [], [], [], []
    for part in parts:
        for index in _known_days(part):
            sites.append(part.site_index)
            days.append(part.days[index])
            kinds.append(part.kinds[index])
            issued.append(part.issued_at)
            heights.append(part.wind_height_m)
            notes.append({name: dict(field.notes[index]) for name, field in part.fields.items()})
            for name, column in columns.items():
                values = part.fields[name].values if name in part.fields else None
                column.append(np.nan if values is None else float(values[index]))
    return WeatherRows(
        site_keys=np.array(sites, dtype=np.int64),
        days=np.array(days, dtype="datetime64[D]"),
        sources=(source,) * len(sites),
        kinds=tuple(kinds),
        issued_at=tuple(issued),
        wind_height_m=np.array(heights, dtype=np.float64),
        fields={name: np.array(column, dtype=np.float64) for name, column in columns.items()},
        field_notes=tuple(notes),
    )


def uncovered(source: str, site: SiteDefinition, part: SiteDays) -> list[SourceProblem]:
    """The days that an answer leaves without both temperatures, as one problem."""
    known = set(_known_days(part, ("tmax_c", "tmin_c")))
    missing = [day for index, day in enumerate(part.days) if index not in known]
    if not missing:
        return []
    named = ", ".join(str(day) for day in missing[:7])
    return [
        SourceProblem(
            source=source,
            site_id=site.site_id,
            reason="no-cover",
            message=f"no usable temperatures for {named}" + (" ..." if len(missing) > 7 else ""),
        )
    ]


def _known_days(part: SiteDays, names: Sequence[str] = ()) -> list[int]:
    """Days on which any field, or each of those named, has a value."""
    known = {name: np.isfinite(field.values) for name, field in part.fields.items()}
    nothing = np.zeros(len(part.days), dtype=np.bool_)
    if names:
        table = np.array([known.get(name, nothing) for name in names]).all(axis=0)
    else:
        table = np.array([nothing, *known.values()]).any(axis=0)
    return [int(index) for index in np.flatnonzero(table)]


def _noted(values: Floats, hours: Floats) -> DayField:
    kept = np.where((hours >= FEWEST_HOURS - SLACK_HOURS) & np.isfinite(values), values, np.nan)
    return DayField(kept, tuple({"hours_present": short_hours(hour_sum)} for hour_sum in hours))
