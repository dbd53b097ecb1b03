"""Civil days: where they begin, how long they are, and what the clock shows inside them.

Expected clock changes: IANA time zone database (tzdata), which the zone rules are read from; the
dates below are also public record (laws and decrees named in the comments of that database).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.civil_day import (
    day_length_min,
    day_lengths_min,
    elapsed_min,
    first_instant,
    midnight_utc,
    midnight_utc_min,
    wall_time,
    zone_rules,
)
from service.errors import InputInvalid, RillwrightError

CHICAGO = "America/Chicago"
SPRING, AUTUMN = date(2024, 3, 10), date(2024, 11, 3)  # clock changes at 02:00 in the USA
ZONES = [
    CHICAGO,
    "America/Santiago",
    "America/Asuncion",
    "America/Havana",
    "America/St_Johns",
    "Asia/Beirut",
    "Asia/Kathmandu",
    "Atlantic/Azores",
    "Australia/Lord_Howe",
    "Africa/Cairo",
    "Africa/Casablanca",
    "Europe/Dublin",
    "Pacific/Apia",
    "Pacific/Chatham",
    "Etc/UTC",
]


def test_an_ordinary_day_has_1440_minutes_and_begins_at_midnight() -> None:
    assert midnight_utc(date(2024, 7, 1), CHICAGO) == datetime(2024, 7, 1, 5, tzinfo=UTC)
    assert midnight_utc(date(2024, 7, 1), CHICAGO).tzinfo is UTC
    assert day_length_min(date(2024, 7, 1), CHICAGO) == 1440


def test_the_days_of_the_clock_changes_have_23_and_25_hours() -> None:
    assert day_length_min(SPRING, CHICAGO) == 1380
    assert day_length_min(AUTUMN, CHICAGO) == 1500


def test_lord_howe_changes_by_half_an_hour() -> None:
    assert day_length_min(date(2024, 10, 6), "Australia/Lord_Howe") == 1410
    assert day_length_min(date(2024, 4, 7), "Australia/Lord_Howe") == 1470


def test_a_time_in_the_gap_means_the_first_minute_after_it() -> None:
    for wall in (time(2, 0), time(2, 30), time(2, 59)):
        assert elapsed_min(SPRING, wall, CHICAGO) == 120
        assert first_instant(SPRING, wall, CHICAGO) == datetime(2024, 3, 10, 8, tzinfo=UTC)
    assert elapsed_min(SPRING, time(1, 59), CHICAGO) == 119
    assert elapsed_min(SPRING, time(3, 0), CHICAGO) == 120
    assert elapsed_min(SPRING, time(3, 1), CHICAGO) == 121


def test_a_time_that_comes_twice_means_its_first_occurrence() -> None:
    assert elapsed_min(AUTUMN, time(1, 30), CHICAGO) == 90
    assert elapsed_min(AUTUMN, time(2, 0), CHICAGO) == 180
    assert elapsed_min(AUTUMN, time(1, 45, fold=1), CHICAGO) == 105


def test_the_clock_after_a_change_is_shown_with_its_own_offset() -> None:
    assert wall_time(SPRING, 119, CHICAGO).isoformat() == "2024-03-10T01:59:00-06:00"
    assert wall_time(SPRING, 120, CHICAGO).isoformat() == "2024-03-10T03:00:00-05:00"
    assert wall_time(AUTUMN, 90, CHICAGO).isoformat() == "2024-11-03T01:30:00-05:00"
    assert wall_time(AUTUMN, 150, CHICAGO).isoformat() == "2024-11-03T01:30:00-06:00"
    assert wall_time(AUTUMN, 1500, CHICAGO).isoformat() == "2024-11-04T00:00:00-06:00"


@pytest.mark.parametrize("minute", [-1, 1381])
def test_a_minute_the_day_does_not_have_is_refused(minute: int) -> None:
    with pytest.raises(InputInvalid, match="0 to 1380 min"):
        wall_time(SPRING, minute, CHICAGO)


def test_a_midnight_that_does_not_exist_is_the_first_instant_after_the_gap() -> None:
    # Chile: clocks go from 24:00 to 01:00 on the first Sunday of September.
    day = date(2024, 9, 8)
    assert midnight_utc(day, "America/Santiago") == datetime(2024, 9, 8, 4, tzinfo=UTC)
    assert wall_time(day, 0, "America/Santiago").isoformat() == "2024-09-08T01:00:00-03:00"
    assert elapsed_min(day, time(0, 30), "America/Santiago") == 0
    assert elapsed_min(day, time(4, 0), "America/Santiago") == 180
    assert day_length_min(day, "America/Santiago") == 1380
    # Paraguay, likewise at midnight: 1 October 2023.
    assert midnight_utc(date(2023, 10, 1), "America/Asuncion") == datetime(
        2023, 10, 1, 4, tzinfo=UTC
    )
    assert day_length_min(date(2023, 10, 1), "America/Asuncion") == 1380


def test_a_day_whose_last_hour_comes_twice_has_25_hours() -> None:
    # Chile: clocks go from 24:00 back to 23:00 at the end of 6 April 2024.
    day = date(2024, 4, 6)
    assert day_length_min(day, "America/Santiago") == 1500
    assert elapsed_min(day, time(23, 30), "America/Santiago") == 1410
    assert wall_time(day, 1470, "America/Santiago").isoformat() == "2024-04-06T23:30:00-04:00"
    assert day_length_min(date(2024, 4, 7), "America/Santiago") == 1440


def test_a_midnight_that_comes_twice_is_its_first_occurrence() -> None:
    # Cuba: at 01:00 the clocks go back to 00:00 of the same day.
    day = date(2024, 11, 3)
    assert midnight_utc(day, "America/Havana") == datetime(2024, 11, 3, 4, tzinfo=UTC)
    assert day_length_min(day, "America/Havana") == 1500


def test_a_gap_that_begins_before_midnight_still_ends_where_the_day_begins() -> None:
    # Toronto, 30 March 1919: clocks went from 23:30 to 00:30.
    day = date(1919, 3, 31)
    begin = midnight_utc(day, "America/Toronto")
    assert begin.astimezone(ZoneInfo("America/Toronto")).time() == time(0, 30)
    assert begin == datetime(1919, 3, 31, 4, 30, tzinfo=UTC)
    assert elapsed_min(day, time(0, 15), "America/Toronto") == 0


def test_a_date_that_was_skipped_has_no_length() -> None:
    # Samoa went from 29 to 31 December 2011 across the date line.
    before, skipped, after = (date(2011, 12, number) for number in (29, 30, 31))
    assert day_length_min(before, "Pacific/Apia") == 1440
    assert day_length_min(skipped, "Pacific/Apia") == 0
    assert day_length_min(after, "Pacific/Apia") == 1440
    assert midnight_utc(skipped, "Pacific/Apia") == midnight_utc(after, "Pacific/Apia")
    assert midnight_utc(after, "Pacific/Apia") == datetime(2011, 12, 30, 10, tzinfo=UTC)
    assert elapsed_min(skipped, time(10, 0), "Pacific/Apia") == 0


@pytest.mark.parametrize(
    "zone",
    [
        "",
        "Mars/Olympus",
        "../etc/passwd",
        "/etc/localtime",
        "America",
        "localtime",
        "a\0b",
        "UTC+5",
    ],
)
def test_an_unknown_zone_is_refused_with_an_example_of_a_good_one(zone: str) -> None:
    with pytest.raises(InputInvalid, match="America/Chicago") as caught:
        midnight_utc(date(2024, 1, 1), zone)
    assert isinstance(caught.value, RillwrightError)
    assert repr(zone) in str(caught.value)


def test_many_days_and_zones_give_what_each_gives_alone() -> None:
    days = np.datetime64("2024-03-08", "D") + np.arange(5)
    zones = [CHICAGO, "Australia/Lord_Howe", CHICAGO, "Asia/Kathmandu"]
    midnights, lengths = midnight_utc_min(days, zones), day_lengths_min(days, zones)
    assert midnights.shape == lengths.shape == (5, 4)
    assert midnights[:, 0].tolist() == [360.0, 360.0, 360.0, 300.0, 300.0]
    assert midnights[0, 1:].tolist() == [-660.0, 360.0, -345.0]
    assert lengths[:, 2].tolist() == [1440.0, 1440.0, 1380.0, 1440.0, 1440.0]
    assert midnight_utc_min(days, []).shape == (5, 0)


def test_zone_rules_are_those_of_the_name() -> None:
    assert zone_rules("Europe/Dublin").key == "Europe/Dublin"


@given(
    day=st.dates(date(2005, 1, 1), date(2040, 12, 31)),
    zone=st.sampled_from(ZONES),
    wall=st.times().map(lambda wall: wall.replace(second=0, microsecond=0)),
)
def test_every_time_of_every_day_falls_inside_its_day_and_is_shown_again(
    day: date, zone: str, wall: time
) -> None:
    length = day_length_min(day, zone)
    minute = elapsed_min(day, wall, zone)
    assert 0 <= minute <= length
    shown = wall_time(day, minute, zone)
    # Never earlier than asked for; later only in a gap, and then the minute before is earlier.
    assert shown.replace(tzinfo=None) >= datetime.combine(day, wall)
    if shown.replace(tzinfo=None) != datetime.combine(day, wall):
        just_before = shown.astimezone(UTC) - timedelta(minutes=1)
        clock = just_before.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        assert clock < datetime.combine(day, wall)
    assert shown == first_instant(day, wall, zone)


@given(day=st.dates(date(2005, 1, 1), date(2040, 12, 31)), zone=st.sampled_from(ZONES))
def test_days_follow_each_other_without_a_gap_or_an_overlap(day: date, zone: str) -> None:
    begin, end = midnight_utc(day, zone), midnight_utc(day + timedelta(days=1), zone)
    assert begin + timedelta(minutes=day_length_min(day, zone)) == end
    if end > begin:
        rules = ZoneInfo(zone)
        assert begin.astimezone(rules).date() == day
        assert (begin - timedelta(seconds=1)).astimezone(rules).date() < day
