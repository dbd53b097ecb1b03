"""A rain gauge read by hand: the reading is kept, and its rain is booked to civil days.

A gauge belongs to the farm that reads it, and its rain counts for the blocks of that farm only. A
place may have a gauge of its own, which counts for counties and for farms without one; an operator
or an adviser keeps it. What is read at a place that one farm alone uses is always that farm's.

A reading covers the time since the one before it. Which days get how much of it is the rule of
:mod:`service.agronomy.rain_booking`: a gauge read at 07:00 is booked to the day before; rain over a
longer time is spread like the stored rain of those days, or evenly. A day's rain is the sum over
all readings of the gauge that are booked to it; that of a place's own gauge is an observation of
the place, of the source ``gauge``. The ledgers reopen from the first day that changes. The same
reading again changes nothing; another one at that time is a new version of it and must say why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.civil_day import midnight_utc
from service.agronomy.rain_booking import (
    CoveredDays,
    covered_days,
    model_rain_mm,
    rain_shares,
)
from service.agronomy.records import Days, Floats
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.errors import Fault, InputInvalid, NotFound
from service.operations.audit.note_at_site import note_at_site
from service.operations.evening.own_rain import SOURCE, gauge_rows
from service.operations.evening.past_weather import KINDS as WEATHER_KINDS
from service.operations.evening.past_weather import SOURCE_STEP
from service.operations.feedback.reported_time import has_passed, on_clock
from service.operations.weather.rain_amounts import booking_rule, check_amount, check_likely
from service.ports import Clock
from service.records.audit import Subject
from service.records.farms import LoadOutcome, SiteDefinition
from service.records.feedback import GaugeReading
from service.records.weather import FarmRain, WeatherRows

RANK_OF_KIND = {kind: rank for rank, kind in enumerate(WEATHER_KINDS)}
FIRST_COVER = timedelta(days=1)
"""What the first reading of a gauge covers, if it does not say."""
LONGEST_COVER = timedelta(days=31)
SHORTEST_COVER = timedelta(hours=1)
"""A reading sooner after the last one is more likely the same one entered twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeReport:
    """What somebody reports of a gauge."""

    site_id: str
    rain_mm: float
    reporter: str
    farm_id: str | None = None
    """The farm whose gauge it is; None: the place's own, or that of the one farm that uses it."""
    kind: str = "measured"
    read_at: datetime | None = None
    """None: now. Naive times are in the site's time zone, here and below."""
    covers_from: datetime | None = None
    """None: since the previous reading."""
    note: str = ""
    confirm: bool = False
    """Accepts an unlikely amount or time."""


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
    report: GaugeReport,
    *,
    source_order: Mapping[str, int],
    unit_of_work: UnitOfWorkFactory,
    clock: Clock,
) -> RecordedRain:
    """Store one reading of a gauge and the rain of the days it covers.

    ``source_order`` ranks the sources of the weather that a reading of several days is spread by.
    """
    with unit_of_work(write=True) as unit:
        return store_reading(unit, report, source_order=source_order, clock=clock)


def gauge_farm(unit: UnitOfWork, site_id: str, farm_id: str | None) -> str | None:
    """The farm whose gauge is read at a site; None: the place's own.

    ``farm_id`` is the farm that reads it, None for one who speaks for no farm. Raises NotFound for
    an unknown site, and for a farm that does not use the site.
    """
    key = unit.blocks.get_site_key(site_id)
    place = np.array([key], dtype=np.int64)
    users = unit.blocks.find_users(place).get(key, ())
    if farm_id is None:
        return users[0] if key in unit.rain.find_sole_farms(place) else None
    if farm_id not in users:
        raise NotFound(f"farm {farm_id!r}: it does not use the site {site_id!r}")
    return farm_id


def store_reading(
    unit: UnitOfWork, report: GaugeReport, *, source_order: Mapping[str, int], clock: Clock
) -> RecordedRain:
    """As :func:`record_rain`, within an open transaction."""
    check_amount(report.rain_mm, report.kind)
    now = clock.now()
    farm_id = gauge_farm(unit, report.site_id, report.farm_id)
    gauge = _Gauge(unit, report.site_id, farm_id, source_order)
    at = (
        now.replace(second=0, microsecond=0)
        if report.read_at is None
        else gauge.instant(report.read_at)
    )
    before = gauge.reading_at(at)
    reading = GaugeReading(
        site_id=report.site_id,
        farm_id=farm_id,
        read_at=at,
        covers_from=gauge.cover(at, report.covers_from, before),
        rain_mm=report.rain_mm,
        kind=report.kind,
        note=report.note or (before.note if before else ""),
        reporter=report.reporter,
    )
    gauge.check_time(reading, now=now, is_new=before is None, confirm=report.confirm)
    is_same = before is not None and _content(before) == _content(reading)
    if not is_same:
        if before is not None and not report.note:
            raise InputInvalid(
                f"site {report.site_id}: a reading of {_local(at, gauge.site)} is stored already",
                [Fault("note", "nothing", "a note that says why the reading is corrected")],
            )
        if not report.confirm:
            check_likely(report.rain_mm, gauge.model_rain_mm(reading))
    outcome = unit.rain.record_reading(reading, recorded_at=now)
    changed_day = None
    if outcome.created_count + outcome.changed_count:
        days = gauge.booked_days(reading)
        if before is not None:
            days = np.union1d(days, gauge.booked_days(before))
        changed_day = gauge.save_days(days, recorded_at=now)
        if farm_id is None:
            note_at_site(unit, Subject.RAIN, report.site_id, before=before, after=reading)
        else:
            unit.audit.note(
                Subject.RAIN, report.site_id, farm_id=farm_id, before=before, after=reading
            )
    return RecordedRain(
        outcome=outcome,
        reading=reading,
        booked=gauge.booking(reading),
        rule=booking_rule(reading),
        first_changed_day=changed_day,
    )


def _content(reading: GaugeReading) -> tuple[object, ...]:
    return (reading.covers_from, reading.rain_mm, reading.kind)


def _local(at: datetime, site: SiteDefinition) -> str:
    return f"{at.astimezone(ZoneInfo(site.zone)):%Y-%m-%d %H:%M}"


class _Gauge:
    """A farm's gauge at a site, or (no farm) the site's own, within one transaction."""

    def __init__(
        self,
        unit: UnitOfWork,
        site_id: str,
        farm_id: str | None,
        source_order: Mapping[str, int],
    ) -> None:
        self._unit = unit
        self._source_order = source_order
        self._farm_key = None if farm_id is None else unit.blocks.farm_keys([farm_id])[farm_id]
        self.site_key = unit.blocks.get_site_key(site_id)
        keys = np.array([self.site_key], dtype=np.int64)
        self.site = unit.blocks.read_site_table(keys).definitions[0]

    def instant(self, at: datetime) -> datetime:
        """UTC instant of a time that may be on the site's clock."""
        return on_clock(at, self.site.zone).astimezone(UTC)

    def readings(self, first: datetime, last: datetime) -> list[GaugeReading]:
        """Readings in force that end around a span of time."""
        zone = ZoneInfo(self.site.zone)
        return self._unit.rain.list_readings(
            self.site_key,
            farm_key=self._farm_key,
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
        before = self._booked_rain(span)
        is_same = (totals == before) | (np.isnan(totals) & np.isnan(before))
        changed = np.flatnonzero(~is_same)
        if not changed.size:
            return None
        rain = FarmRain(
            farm_keys=np.full(changed.size, self._farm_key or 0, dtype=np.int64),
            site_keys=np.full(changed.size, self.site_key, dtype=np.int64),
            days=span[changed],
            rain_mm=totals[changed],
            recorded_at=(recorded_at,) * changed.size,
            notes=tuple({"rain_mm": notes[row]} for row in changed.tolist()),
        )
        if self._farm_key is None:
            self._unit.weather.save_rows(gauge_rows(rain), fetched_at=recorded_at)
        else:
            self._unit.rain.save_days(rain)
        first_day: date = span[changed[0]].item()
        self._unit.ledger.rewind(site_key=self.site_key, day=first_day, farm_key=self._farm_key)
        return first_day

    def _booked_rain(self, span: Days) -> Floats:
        """The rain of this gauge that is stored for each day; NaN where none is."""
        if self._farm_key is None:
            rows = self._read_rows(span)
            is_own = np.array([source == SOURCE for source in rows.sources], dtype=np.bool_)
            days, rain_mm = rows.days[is_own], rows.fields["rain_mm"][is_own]
        else:
            found = self._unit.rain.read_days(
                np.array([self.site_key], dtype=np.int64),
                first_day=span[0].item(),
                last_day=span[-1].item(),
            )
            is_own = found.farm_keys == self._farm_key
            days, rain_mm = found.days[is_own], found.rain_mm[is_own]
        booked = np.full(span.size, np.nan)
        booked[(days - span[0]).astype(np.int64)] = rain_mm
        return booked
