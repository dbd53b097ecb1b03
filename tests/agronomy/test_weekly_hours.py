"""Hours of every week without water: by hand, over midnight, and when the clocks change."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from service.agronomy.records import WallWindow, WeeklyNoWater
from service.agronomy.watering_window import watering_windows
from service.agronomy.weekly_hours import closed_hours, hours_of_week, open_minutes
from tests.factories import ZONE

MONDAY, TUESDAY, FRIDAY, SATURDAY, SUNDAY = (date(2026, 7, day) for day in (13, 14, 17, 18, 19))
PEAK = WeeklyNoWater((1, 2, 3, 4, 5), 16 * 60, 20 * 60, "peak tariff")
NOT_OUR_TURN = WeeklyNoWater((1, 3, 4, 6, 7), 0, 24 * 60, "district: Tuesday and Friday only")
WORKDAY_NIGHTS = WeeklyNoWater((1, 2, 3, 4, 5), 22 * 60, 6 * 60, "noise")
WINDOW = (WallWindow(4 * 60, 21 * 60),)
ALL_DAY = (WallWindow(0, 1440),)


def spans(day: date, *hours: WeeklyNoWater, zone: str = ZONE) -> list[tuple[int, int]]:
    return [(each.start_min, each.end_min) for each in closed_hours(hours, day, zone)]


def open_spans(day: date, *hours: WeeklyNoWater) -> list[tuple[int, int]]:
    found = watering_windows([WINDOW], [ALL_DAY], [()], zones=[ZONE], day=day, weekly=[hours])
    assert found.is_outage.tolist() == [bool(spans(day, *hours))]
    pairs = zip(found.opens_min[0].tolist(), found.closes_min[0].tolist(), strict=True)
    return [(opens, closes) for opens, closes in pairs if opens < closes]


def test_peak_hours_of_working_days_cut_the_afternoon_from_monday_to_friday() -> None:
    for day in (MONDAY, TUESDAY, FRIDAY):
        assert open_spans(day, PEAK) == [(240, 960), (1200, 1260)]
    for day in (SATURDAY, SUNDAY):
        assert open_spans(day, PEAK) == [(240, 1260)]


def test_a_district_that_delivers_on_two_days_leaves_only_those() -> None:
    opened = [day for day in range(13, 20) if open_spans(date(2026, 7, day), NOT_OUR_TURN)]
    assert opened == [14, 17]


def test_hours_across_midnight_belong_to_the_day_on_which_they_begin() -> None:
    assert spans(MONDAY, WORKDAY_NIGHTS) == [(1320, 1440)]
    assert spans(TUESDAY, WORKDAY_NIGHTS) == [(0, 360), (1320, 1440)]
    assert spans(SATURDAY, WORKDAY_NIGHTS) == [(0, 360)]
    assert spans(SUNDAY, WORKDAY_NIGHTS) == []


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        # The clock goes from 02:00 to 03:00: 06:00 is five hours after midnight, the day has 23.
        (date(2026, 3, 8), [(0, 300), (1260, 1380)]),
        # From 02:00 back to 01:00: 06:00 is seven hours after midnight, the day has 25.
        (date(2026, 11, 1), [(0, 420), (1380, 1500)]),
    ],
)
def test_on_days_of_a_clock_change_the_hours_follow_the_clock(
    day: date, expected: list[tuple[int, int]]
) -> None:
    nights = WeeklyNoWater((6, 7), 22 * 60, 6 * 60, "nights of the weekend")
    assert spans(day, nights) == expected


def test_hours_in_the_hour_that_is_skipped_are_left_out() -> None:
    assert spans(date(2026, 3, 8), WeeklyNoWater((7,), 120, 180, "test run")) == []


def test_minutes_of_the_clock_agree_with_the_windows_of_ordinary_days() -> None:
    for place in range(7):
        day = date(2026, 7, 13 + place)
        minutes = open_minutes(WINDOW, ALL_DAY, (PEAK, WORKDAY_NIGHTS), place + 1)
        inside = np.zeros(1440, dtype=np.bool_)
        for opens, closes in open_spans(day, PEAK, WORKDAY_NIGHTS):
            inside[opens:closes] = True
        assert (minutes == inside).all()


def test_a_timer_keeps_the_longest_hours_that_most_days_have() -> None:
    found = hours_of_week(WINDOW, ALL_DAY, [PEAK], shortest_pulse_min=10)
    assert found is not None
    assert (found.opens_wall_min, found.closes_wall_min) == (240, 960)
    assert found.weekdays == (1, 2, 3, 4, 5, 6, 7)
    on_turn = hours_of_week(WINDOW, ALL_DAY, [NOT_OUR_TURN], shortest_pulse_min=10)
    assert on_turn is not None
    assert (on_turn.weekdays, on_turn.closes_wall_min) == ((2, 5), 1260)


def test_a_week_without_a_pulse_of_room_has_no_hours() -> None:
    never = WeeklyNoWater((1, 2, 3, 4, 5, 6, 7), 0, 24 * 60, "dry")
    assert hours_of_week(WINDOW, ALL_DAY, [never], shortest_pulse_min=10) is None
