"""Every time zone with clock changes from 2020 to 2040: each civil date has one evening, in order.

Expected changes: the IANA time zone database itself, read through another door (the offsets that
``zoneinfo`` shows at full hours) than the code under test. Zones whose clocks go together are tried
once. Every date within three days of a change is tried, and one date in 97 elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

import pytest

from service.agronomy.civil_day import day_length_min, first_instant, midnight_utc
from service.operations.schedule.due_jobs import evening_due_at, latest_evening
from service.records.farms import FarmDefinition

FIRST, LAST = date(2020, 1, 1), date(2040, 12, 31)
START = datetime.combine(FIRST, time(0), tzinfo=UTC)
ONE_DAY, HOUR, SECOND = timedelta(days=1), timedelta(hours=1), timedelta(seconds=1)
WEEK_H = 7 * 24
NEAR = timedelta(days=3)
LEAD_MIN = 45
# Issue times in and around the hours in which clocks change, and the usual evening.
ISSUE_WALL_MIN = (0, 30, 90, 120, 150, 180, 19 * 60, 23 * 60 + 59)
USUAL_LENGTHS_MIN = {23 * 60, 24 * 60, 25 * 60}
LORD_HOWE_LENGTHS_MIN = {23 * 60 + 30, 24 * 60, 24 * 60 + 30}
# Stations on the ice, where nothing grows: changes of two, three and four hours.
ICE = ("Antarctica/Casey", "Antarctica/Troll", "Antarctica/Vostok")
NO_PLACES = {"localtime", "Factory"}
NAMED_HERE = ("America/New_York", "Australia/Lord_Howe", *ICE)


@cache
def changes(zone: str) -> tuple[tuple[datetime, timedelta, timedelta], ...]:
    """Instants from which an offset differs from the one before, to the hour, with both offsets."""
    rules = ZoneInfo(zone)

    def offset(hour: int) -> timedelta:
        shown = (START + hour * HOUR).astimezone(rules).utcoffset()
        assert shown is not None
        return shown

    found = []
    now = offset(0)
    for week in range(0, (LAST - FIRST).days * 24, WEEK_H):
        early, late = week, week + WEEK_H
        before, now = now, offset(late)
        if before == now:
            continue
        while late - early > 1:  # no zone changes twice within a week and back
            middle = (early + late) // 2
            early, late = (early, middle) if offset(middle) != offset(early) else (middle, late)
        found.append((START + late * HOUR, offset(early), offset(late)))
    return tuple(found)


def changing_zones() -> list[str]:
    """One name of each group of zones whose clocks change, and change together."""
    groups: dict[object, str] = {}
    for zone in [*NAMED_HERE, *sorted(available_timezones() - NO_PLACES)]:
        if changes(zone):
            groups.setdefault(changes(zone), zone)
    return sorted(groups.values())


CHANGING_ZONES = changing_zones()


def spans(zone: str) -> Iterator[tuple[date, date]]:
    """Runs of dates to try: around each change, and single dates elsewhere."""
    for instant, _, _ in changes(zone):
        day = instant.astimezone(ZoneInfo(zone)).date()
        yield day - NEAR, day + NEAR
    for count in range(0, (LAST - FIRST).days, 97):
        yield FIRST + count * ONE_DAY, FIRST + (count + 1) * ONE_DAY


def farm(zone: str, issue_wall_min: int) -> FarmDefinition:
    return FarmDefinition(
        farm_id="anywhere", name="Anywhere", zone=zone, issue_wall_min=issue_wall_min
    )


def test_there_are_zones_to_try() -> None:
    assert set(NAMED_HERE) <= set(CHANGING_ZONES)
    assert len(CHANGING_ZONES) > 40
    assert sum(bool(changes(zone)) for zone in available_timezones() - NO_PLACES) > 200


@pytest.mark.parametrize("zone", CHANGING_ZONES)
def test_each_civil_date_has_one_evening_and_due_times_rise(zone: str) -> None:
    for issue_wall_min in ISSUE_WALL_MIN:
        each = farm(zone, issue_wall_min)
        for first, last in spans(zone):
            before: datetime | None = None
            day = first
            while day <= last:
                due_at = evening_due_at(each, day, evening_lead_min=LEAD_MIN)
                assert before is None or before < due_at, (zone, day)
                assert latest_evening(each, due_at, evening_lead_min=LEAD_MIN) == (day, due_at)
                moment_before = latest_evening(each, due_at - SECOND, evening_lead_min=LEAD_MIN)
                assert moment_before[0] == day - ONE_DAY, (zone, day)
                before, day = due_at, day + ONE_DAY


@pytest.mark.parametrize("zone", CHANGING_ZONES)
def test_an_evening_lies_on_its_own_civil_date_and_not_after_the_issue_time(zone: str) -> None:
    rules = ZoneInfo(zone)
    for issue_wall_min in ISSUE_WALL_MIN:
        each = farm(zone, issue_wall_min)
        wall = time(*divmod(issue_wall_min, 60))
        for first, _ in spans(zone):
            due_at = evening_due_at(each, first, evening_lead_min=LEAD_MIN)
            assert due_at.astimezone(rules).date() == first
            assert due_at <= first_instant(first, wall, zone)


@pytest.mark.parametrize("zone", CHANGING_ZONES)
def test_a_civil_day_is_as_long_as_the_change_makes_it(zone: str) -> None:
    rules = ZoneInfo(zone)
    lengths = set()
    for instant, before, after in changes(zone):
        # The date on which the change falls: that of the second before it, seen from midnight.
        day = (instant - SECOND).astimezone(rules).date()
        near = [day_length_min(day + count * ONE_DAY, zone) for count in (-1, 0, 1)]
        shift_min = (after - before) // timedelta(minutes=1)
        assert sum(near) == 3 * 1440 - shift_min, (zone, day)
        lengths.update(near)
    usual = LORD_HOWE_LENGTHS_MIN if zone == "Australia/Lord_Howe" else USUAL_LENGTHS_MIN
    if zone not in ICE:
        assert lengths <= usual
    assert len(lengths) > 1


@pytest.mark.parametrize("zone", CHANGING_ZONES)
def test_the_first_instant_is_the_first(zone: str) -> None:
    rules = ZoneInfo(zone)
    for first, _ in spans(zone):
        for wall_min in ISSUE_WALL_MIN:
            wall = time(*divmod(wall_min, 60))
            shown = datetime.combine(first, wall)
            found = first_instant(first, wall, zone)
            assert clock(found, rules) >= shown
            earlier = [midnight_utc(first, zone) - SECOND, found - SECOND, found - 30 * SECOND]
            assert all(clock(instant, rules) < shown for instant in earlier if instant < found)


def clock(instant: datetime, rules: ZoneInfo) -> datetime:
    return instant.astimezone(rules).replace(tzinfo=None)
