"""Ask an ensemble service for the courses of the coming week and store them.

One issue for each site, model and evening. What a decision cannot use is not stored: members with
a hole, and members that stand still. Sites that have waited longest are asked for first, since the
quota may not last for all; a site for which nothing comes keeps what it had.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from service.agronomy.member_courses import frozen_members, member_courses, whole_members
from service.agronomy.records import Floats, Ints
from service.database.member_store import hour_of
from service.database.session import UnitOfWork, UnitOfWorkFactory
from service.operations.reading.read_farms import local_day
from service.operations.weather.archive_forecasts import EVENING_ENDS
from service.operations.weather.archive_members import archive_members
from service.operations.weather.correct_members import read_corrections
from service.ports import EnsembleSource
from service.records.farms import SiteTable
from service.records.forecast_members import (
    Allowance,
    MembersAnswer,
    ModelMembers,
    StoredMembers,
)
from service.records.weather import SourceProblem

MEMBER_DAYS = 7
"""Days from tomorrow on, as the outlook shows."""
LOOK_BACK = timedelta(days=2)
"""[CHOICE] How old an issue may be for members to be held against it."""
NEVER_COVERED = "no-cover"


@dataclass(frozen=True, slots=True)
class MembersRefresh:
    """An ensemble service together with the store its members go into; see ports.RefreshWeather."""

    source: EnsembleSource
    unit_of_work: UnitOfWorkFactory
    hourly_weight: float
    daily_weight: float

    def __call__(self, site_keys: Ints, *, now: datetime) -> Sequence[SourceProblem]:
        """Store the news; the same news again changes nothing but its time."""
        if site_keys.size == 0:
            return ()
        with self.unit_of_work(write=False) as unit:
            sites = _longest_waiting_first(unit, unit.blocks.read_site_table(np.unique(site_keys)))
            allowance = self._allowance(unit, now)
        tomorrows = [local_day(now, site.zone) + timedelta(days=1) for site in sites.definitions]
        answer = asyncio.run(
            self.source.fetch(
                sites.definitions,
                first_day=min(tomorrows),
                last_day=max(tomorrows) + timedelta(days=MEMBER_DAYS - 1),
                now=now,
                allowance=allowance,
            )
        )
        with self.unit_of_work(write=False) as unit:
            learned = read_corrections(unit, np.sort(sites.keys), first_day=min(tomorrows))
        with self.unit_of_work(write=True) as unit:
            unit.members.add_weight(self.source.name, hour=hour_of(now), weight=answer.spent_weight)
            before = _issued_before(unit, sites.keys, tomorrows)
            stored = _stored(answer, sites, tomorrows, before, fetched_at=now)
            stored = [
                replace(each, correction=learned.get((each.site_key, each.model)))
                for each in stored
            ]
            unit.members.save(stored)
            archive_members(unit, _of_the_evening(stored, sites, before, now))
        return self._problems(answer, sites, stored)

    def _allowance(self, unit: UnitOfWork, now: datetime) -> Allowance:
        """What is left of the hour and of the day."""
        hour = hour_of(now)
        day = hour.replace(hour=0)
        spent = [unit.members.spent_weight(self.source.name, since=each) for each in (hour, day)]
        left_of_day = self.daily_weight - spent[1]
        left_of_hour = self.hourly_weight - spent[0]
        if left_of_day < left_of_hour:
            return Allowance(left_of_day, day + timedelta(days=1))
        return Allowance(left_of_hour, hour + timedelta(hours=1))

    def _problems(
        self, answer: MembersAnswer, sites: SiteTable, stored: Sequence[StoredMembers]
    ) -> list[SourceProblem]:
        """What is wrong, with a mark on sites that got nothing and may get something later."""
        has_members = {members.site_key for members in stored}
        answered = {
            site.site_id
            for key, site in zip(sites.keys.tolist(), sites.definitions, strict=True)
            if key in has_members
        }
        problems = [*answer.problems, *self._short_of_members(answer, sites, stored)]
        return [
            replace(
                problem,
                gave_nothing=problem.site_id not in answered and problem.reason != NEVER_COVERED,
            )
            for problem in problems
        ]

    def _short_of_members(
        self, answer: MembersAnswer, sites: SiteTable, stored: Sequence[StoredMembers]
    ) -> list[SourceProblem]:
        """Models of which no member was whole, and those that have stood still."""
        found = []
        kept = {(members.site_key, members.model): members for members in stored}
        for part in answer.parts:
            members = kept.get((int(sites.keys[part.site_index]), part.model))
            if members is None:
                reason, words = "no-cover", "no member has every hour of the coming days"
            elif members.is_old_run:
                reason = "stale"
                words = f"all members are those of {members.first_seen_at:%Y-%m-%d %H:%M} UTC"
            else:
                continue
            site_id = sites.definitions[part.site_index].site_id
            found.append(SourceProblem(self.source.name, site_id, reason, f"{part.model}: {words}"))
        return found


def _longest_waiting_first(unit: UnitOfWork, sites: SiteTable) -> SiteTable:
    fetched_at = unit.members.list_fetched_at(sites.keys)
    never = datetime.min.replace(tzinfo=UTC)
    order = np.array(
        sorted(
            range(sites.keys.size),
            key=lambda place: (fetched_at.get(int(sites.keys[place]), never), place),
        ),
        dtype=np.int64,
    )
    return SiteTable(
        keys=sites.keys[order],
        definitions=tuple(sites.definitions[place] for place in order.tolist()),
    )


_Issued = Mapping[tuple[int, str], Sequence[StoredMembers]]


def _issued_before(unit: UnitOfWork, site_keys: Ints, tomorrows: Sequence[date]) -> _Issued:
    """What was issued of late for this evening and earlier ones, by key of the site and model."""
    found: dict[tuple[int, str], list[StoredMembers]] = {}
    for row in unit.members.read(
        site_keys, first_day=min(tomorrows) - LOOK_BACK, last_day=max(tomorrows)
    ):
        found.setdefault((row.site_key, row.model), []).append(row)
    return found


def _stored(
    answer: MembersAnswer,
    sites: SiteTable,
    tomorrows: Sequence[date],
    before: _Issued,
    *,
    fetched_at: datetime,
) -> list[StoredMembers]:
    """The members of each site and model that are of use."""
    if not answer.parts:
        return []
    place = np.repeat(
        [part.site_index for part in answer.parts], [part.numbers.size for part in answer.parts]
    )
    fields = {
        name: np.concatenate([part.fields[name] for part in answer.parts], axis=1)
        for name in answer.parts[0].fields
    }
    latitude_deg = np.array([site.latitude_deg for site in sites.definitions])
    elevation_m = np.array([site.elevation_m for site in sites.definitions])
    rain_mm, et0_mm = member_courses(
        answer.days, fields, latitude_deg=latitude_deg[place], elevation_m=elevation_m[place]
    )
    courses_mm = np.stack([rain_mm, et0_mm], axis=-1).swapaxes(0, 1)
    found = []
    begin = 0
    for part in answer.parts:
        end = begin + part.numbers.size
        tomorrow = tomorrows[part.site_index]
        row = int((np.datetime64(tomorrow) - answer.days[0]).astype(np.int64))
        members = _useful(
            part,
            courses_mm[begin:end, row : row + MEMBER_DAYS],
            site_key=int(sites.keys[part.site_index]),
            first_day=tomorrow,
            fetched_at=fetched_at,
            before=before,
        )
        begin = end
        if members is not None:
            found.append(members)
    return found


def _of_the_evening(
    stored: Sequence[StoredMembers], sites: SiteTable, before: _Issued, now: datetime
) -> list[StoredMembers]:
    """New runs that plans are made with: what comes late counts only where nothing came before."""
    is_late = {
        key: now.astimezone(ZoneInfo(site.zone)).time() >= EVENING_ENDS
        for key, site in zip(sites.keys.tolist(), sites.definitions, strict=True)
    }
    came = {(each.site_key, each.model, each.first_day) for own in before.values() for each in own}
    return [
        each
        for each in stored
        if not each.is_old_run
        and not (is_late[each.site_key] and (each.site_key, each.model, each.first_day) in came)
    ]


def _useful(
    part: ModelMembers,
    courses_mm: Floats,
    *,
    site_key: int,
    first_day: date,
    fetched_at: datetime,
    before: _Issued,
) -> StoredMembers | None:
    """What is kept of a model's members at a site; None where none is whole."""
    whole = whole_members(courses_mm.sum(axis=-1))
    if not whole.day_count:
        return None
    numbers = part.numbers[whole.is_whole]
    kept_mm = courses_mm[whole.is_whole, : whole.day_count]
    first_seen_at = fetched_at
    is_frozen = np.zeros(numbers.size, dtype=np.bool_)
    for last in before.get((site_key, part.model), ()):
        same = frozen_members(
            numbers,
            kept_mm,
            before_numbers=last.numbers,
            before_mm=np.stack([last.rain_mm, last.et0_mm], axis=-1),
            days_between=(first_day - last.first_day).days,
        )
        if same.all():  # no new run: what there is is as old as it is
            first_seen_at = min(first_seen_at, last.first_seen_at)
        elif last.first_day < first_day:
            is_frozen |= same
    return StoredMembers(
        site_key=site_key,
        model=part.model,
        first_day=first_day,
        fetched_at=fetched_at,
        first_seen_at=first_seen_at,
        given_count=part.numbers.size,
        hole_count=int(np.count_nonzero(~whole.is_whole)),
        frozen_count=int(np.count_nonzero(is_frozen)),
        numbers=numbers[~is_frozen],
        rain_mm=kept_mm[~is_frozen, :, 0],
        et0_mm=kept_mm[~is_frozen, :, 1],
    )
