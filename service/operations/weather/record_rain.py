"""A rain gauge read by hand: the reading is kept, and its rain is booked to civil days.

A reading covers the time since the one before it. Which days get how much of it is the rule of
:mod:`service.agronomy.rain_booking`: a gauge read at 07:00 is booked to the day before; rain over a
longer time is spread like the stored rain of those days, or evenly. A day's rain is the sum over
all readings that are booked to it, and is stored as an observation of the source ``gauge``; the
ledgers reopen from the first day that changes. The same reading again changes nothing; another one
at the same time is a new version of it and must say why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.civil_day import midnight_utc
from service.agronomy.rain_booking import (
    AROUND_ONE_DAY_H,
    CoveredDays,
    covered_days,
    model_rain_mm,
    rain_shares,
)
from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid
from service.operations.evening.past_weather import KINDS as WEATHER_KINDS
from service.operations.evening.past_weather import SOURCE_STEP
from service.operations.feedback.reported_time import has_passed, on_clock
from service.operations.weather.rain_amounts import check_amount, check_likely
from service.ports import Clock
from service.records.farms import LoadOutcome, SiteDefinition
from service.records.feedback import GaugeReading
from service.records.weather import WEATHER_FIELDS, WeatherRows

SOURCE = "gauge"
RANK_OF_KIND = {kind: rank for rank, kind in enumerate(WEATHER_KINDS)}
FIRST_COVER = timedelta(days=1)
"""What the first reading of a gauge covers, if it does not say."""
LONGEST_COVER = timedelta(days=31)
SHORTEST_COVER = timedelta(hours=1)
"""A reading sooner after the last one is more likely the same one entered twice."""


@dataclass(frozen=True, slots=True)
class BookedRain:
    """The part of a reading booked to one civil day."""

    day: date
    covered_h: float
    rain_mm: float
    day_total_mm: float
    """Of all readings that are booked to the day."""


@dataclass(frozen=True, slots=True)
class RecordedRain:
    """What was stored, and how it was booked."""

    outcome: LoadOutcome
    reading: GaugeReading
    booked: tuple[BookedRain, ...]
    rule: str
    """How the days were chosen, in words."""
    first_changed_day: date | None


def record_rain(
    site_id: str,
    rain_mm: float,
    *,
    reporter: str,
    source_order: Mapping[str, int],
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
    kind: str = "measured",
    read_at: datetime | None = None,
    covers_from: datetime | None = None,
    note: str = "",
    confirm: bool = False,
) -> RecordedRain:
    """Store one reading of a site's gauge and the rain of the days it covers.

    ``read_at`` defaults to now, ``covers_from`` to the previous reading; naive times are in the
    site's time zone. ``confirm`` accepts an unlikely amount or time. ``source_order`` ranks the
    sources of the weather that a reading of several days is spread by.
    """
    with unit_of_work(write=True) as unit:
        return store_reading(
            unit,
            site_id,
            rain_mm,
            reporter=reporter,
            source_order=source_order,
            clock=clock,
            kind=kind,
            read_at=read_at,
            covers_from=covers_from,
            note=note,
            confirm=confirm,
        )


def store_reading(
    unit: UnitOfWork,
    site_id: str,
    rain_mm: float,
    *,
    reporter: str,
    source_order: Mapping[str, int],
    clock: Clock,
    kind: str = "measured",
    read_at: datetime | None = None,
    covers_from: datetime | None = None,
    note: str = "",
    confirm: bool = False,
) -> RecordedRain:
    """As :func:`record_rain`, within an open transaction."""
    check_amount(rain_mm, kind)
    now = clock.now()
    gauge = _Gauge(unit, site_id, source_order)
    at = now.replace(second=0, microsecond=0) if read_at is None else gauge.instant(read_at)
    before = gauge.reading_at(at)
    reading = GaugeReading(
        site_id=site_id,
        read_at=at,
        covers_from=gauge.cover(at, covers_from, before),
        rain_mm=rain_mm,
        kind=kind,
        note=note or (before.note if before else ""),
        reporter=reporter,
    )
    gauge.check_time(reading, now=now, is_new=before is None, confirm=confirm)
    is_same = before is not None and _content(before) == _content(reading)
    if not is_same:
        if before is not None and not note:
            message = f"site {site_id}: a reading of {_local(at, gauge.site)} is stored already"
            raise InputInvalid(
                message,
                [Fault("note", "nothing", "a note that says why the reading is corrected")],
            )
        if not confirm:
            check_likely(rain_mm, gauge.model_rain_mm(reading))
    outcome = unit.reports.record_reading(reading, recorded_at=now)
    changed_day = None
    if outcome.created_count + outcome.changed_count:
        days = gauge.booked_days(reading)
        if before is not None:
            days = np.union1d(days, gauge.booked_days(before))
        changed_day = gauge.save_days(days, recorded_at=now)
    return RecordedRain(
        outcome=outcome,
        reading=reading,
        booked=gauge.booking(reading),
        rule=_rule(reading),
        first_changed_day=changed_day,
    )


def _content(reading: GaugeReading) -> tuple[object, ...]:
    return (reading.covers_from, reading.rain_mm, reading.kind)


def _local(at: datetime, site: SiteDefinition) -> str:
    return f"{at.astimezone(ZoneInfo(site.zone)):%Y-%m-%d %H:%M}"


def _rule(reading: GaugeReading) -> str:
    hours = (reading.read_at - reading.covers_from) / timedelta(hours=1)
    if hours <= AROUND_ONE_DAY_H:
        return "all of it to the day that most of its time lies in"
    return (
        "over the days that lie in its time by more than half, by the stored weather's rain of"
        " each, or evenly where that knows of none"
    )


class _Gauge:
    """The gauge of a site within one transaction."""

    def __init__(self, unit: UnitOfWork, site_id: str, source_order: Mapping[str, int]) -> None:
        self._unit = unit
        self._source_order = source_order
        self.site_key = unit.blocks.get_site_key(site_id)
        keys = np.array([self.site_key], dtype=np.int64)
        self.site = unit.blocks.read_site_table(keys).definitions[0]

    def instant(self, at: datetime) -> datetime:
        """UTC instant of a time that may be on the site's clock."""
        return on_clock(at, self.site.zone).astimezone(UTC)

    def readings(self, first: datetime, last: datetime) -> list[GaugeReading]:
        """Readings in force that end around a span of time."""
        zone = ZoneInfo(self.site.zone)
        return self._unit.reports.list_readings(
            self.site_key,
            first_day=first.astimezone(zone).date() - timedelta(days=1),
            last_day=last.astimezone(zone).date() + timedelta(days=1),
        )

    def reading_at(self, at: datetime) -> GaugeReading | None:
        """The reading at exactly this time."""
        return next((each for each in self.readings(at, at) if each.read_at == at), None)

    def cover(self, at: datetime, given: datetime | None, before: GaugeReading | None) -> datetime:
        """Start of the time that a reading covers: as given, as stored, or the previous reading."""
        if given is not None:
            return self.instant(given)
        if before is not None:
            return before.covers_from
        earlier = [
            each.read_at
            for each in self.readings(at - LONGEST_COVER, at)
            if at - LONGEST_COVER <= each.read_at < at
        ]
        return max(earlier, default=at - FIRST_COVER)

    def check_time(
        self, reading: GaugeReading, *, now: datetime, is_new: bool, confirm: bool
    ) -> None:
        """Refuse a time that is impossible, already covered, or too close to another reading."""
        begins, ends = reading.covers_from, reading.read_at
        where, found = "covers_from", f"{_local(begins, self.site)} to {_local(ends, self.site)}"
        if not has_passed(ends, now=now):
            raise InputInvalid(
                "the reading cannot be stored",
                [Fault("read_at", _local(ends, self.site), f"up to now, {_local(now, self.site)}")],
            )
        if not timedelta(0) < ends - begins <= LONGEST_COVER:
            raise InputInvalid(
                "the reading cannot be stored",
                [
                    Fault(
                        where,
                        found,
                        f"a time before the reading, {LONGEST_COVER.days} days at most",
                    )
                ],
            )
        for other in self.readings(begins, ends + LONGEST_COVER):
            if other.read_at != ends and other.read_at > begins and other.covers_from < ends:
                message = (
                    f"the reading of {_local(other.read_at, self.site)} covers from"
                    f" {_local(other.covers_from, self.site)} on; no rain must count twice"
                )
                raise InputInvalid(
                    message,
                    [Fault(where, found, "a time that no other reading covers, or that reading's")],
                )
        if is_new and ends - begins < SHORTEST_COVER and not confirm:
            raise InputInvalid(
                f"the last reading was {(ends - begins) / timedelta(minutes=1):.0f} min before",
                [
                    Fault(
                        where,
                        found,
                        "an hour or more; to correct that reading give its read_at, to store"
                        " another one confirm it (confirm=True, --confirm)",
                    )
                ],
            )

    def model_rain_mm(self, reading: GaugeReading) -> float:
        """What the stored weather has for the time that a reading covers."""
        covered = covered_days(reading.covers_from, reading.read_at, self.site.zone)
        return model_rain_mm(covered, self._stored_rain(covered.days))

    def booked_days(self, reading: GaugeReading) -> Days:
        """The days that a reading may give rain to."""
        return covered_days(reading.covers_from, reading.read_at, self.site.zone).days

    def booking(self, reading: GaugeReading) -> tuple[BookedRain, ...]:
        """What a reading gives to each day, with the day's total."""
        covered, amounts = self._amounts(reading)
        totals, _ = self._totals(covered.days)
        return tuple(
            BookedRain(day, hours, amount, total)
            for day, hours, amount, total in zip(
                covered.days.tolist(),
                covered.covered_h.tolist(),
                amounts.tolist(),
                totals.tolist(),
                strict=True,
            )
            if np.isfinite(amount)
        )

    def _amounts(self, reading: GaugeReading) -> tuple[CoveredDays, Floats]:
        """Rain of each day a reading covers; NaN for days that it is not booked to."""
        covered = covered_days(reading.covers_from, reading.read_at, self.site.zone)
        shares = rain_shares(covered.covered_h, covered.length_h, self._stored_rain(covered.days))
        return covered, shares * reading.rain_mm

    def _stored_rain(self, days: Days) -> Floats:
        """Rain of each day from the best of all other sources; NaN if none has it."""
        rows = self._read_rows(days)
        found = np.full(days.size, np.nan)
        best = np.full(days.size, -1)
        for place, (source, kind) in enumerate(zip(rows.sources, rows.kinds, strict=True)):
            rain = rows.fields["rain_mm"][place]
            rank = RANK_OF_KIND[kind] * SOURCE_STEP + self._source_order.get(source, 0)
            row = int(np.searchsorted(days, rows.days[place]))
            if source != SOURCE and np.isfinite(rain) and rank > best[row]:
                found[row], best[row] = rain, rank
        return found

    def _read_rows(self, days: Days) -> WeatherRows:
        return self._unit.weather.read_rows(
            np.array([self.site_key], dtype=np.int64),
            first_day=days[0].item(),
            last_day=days[-1].item(),
        )

    def _totals(self, days: Days) -> tuple[Floats, list[dict[str, object]]]:
        """Rain of each day from all readings, NaN if none covers it; and a note on each."""
        totals = np.full(days.size, np.nan)
        notes: list[dict[str, object]] = [{} for _ in range(days.size)]
        first, last = (
            midnight_utc(day, self.site.zone) for day in (days[0].item(), days[-1].item())
        )
        for reading in self.readings(first, last + LONGEST_COVER):
            covered, amounts = self._amounts(reading)
            for day, amount in zip(covered.days, amounts.tolist(), strict=True):
                row = int((day - days[0]).astype(np.int64))
                if not 0 <= row < days.size or np.isnan(amount):
                    continue
                totals[row] = np.nansum([totals[row], amount])
                read_at = notes[row].setdefault("read_at", [])
                if isinstance(read_at, list):
                    read_at.append(reading.read_at.isoformat())
                if reading.kind == "trace":
                    notes[row]["trace"] = True
        return totals, notes

    def save_days(self, days: Days, *, recorded_at: datetime) -> date | None:
        """Store the rain of these days and reopen the ledgers from the first that changed."""
        span = np.arange(days[0], days[-1] + 1, dtype="datetime64[D]")
        totals, notes = self._totals(span)
        before = np.full(span.size, np.nan)
        rows = self._read_rows(span)
        for place, source in enumerate(rows.sources):
            if source == SOURCE:
                row = int((rows.days[place] - span[0]).astype(np.int64))
                before[row] = rows.fields["rain_mm"][place]
        is_same = (totals == before) | (np.isnan(totals) & np.isnan(before))
        changed = np.flatnonzero(~is_same)
        if not changed.size:
            return None
        missing = np.full(changed.size, np.nan)
        self._unit.weather.save_rows(
            WeatherRows(
                site_keys=np.full(changed.size, self.site_key, dtype=np.int64),
                days=span[changed],
                sources=(SOURCE,) * changed.size,
                kinds=("observed",) * changed.size,
                issued_at=(recorded_at,) * changed.size,
                wind_height_m=missing,
                fields={
                    name: totals[changed] if name == "rain_mm" else missing
                    for name in WEATHER_FIELDS
                },
                field_notes=tuple({"rain_mm": notes[row]} for row in changed.tolist()),
            ),
            fetched_at=recorded_at,
        )
        first_day: date = span[changed[0]].item()
        self._unit.ledger.rewind(site_key=self.site_key, day=first_day)
        return first_day
