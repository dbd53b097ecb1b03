"""Civil days cut out of intervals: long and short days, half hours, gaps and totals."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from service.agronomy.civil_day import day_length_min, midnight_utc
from service.agronomy.records import Floats
from service.weather_sources.day_fields import (
    ONE_HOUR,
    DayCut,
    as_instants,
    cut,
    day_bounds,
    highest_of_day,
    list_days,
    lowest_of_day,
    mean_of_day,
    plausible,
    radiation_of_day,
    rain_of_day,
)

CHICAGO = "America/Chicago"
SPRING, AUTUMN = date(2026, 3, 8), date(2026, 11, 1)
"""Clock changes in the United States."""


def hours_from(day: date, count: int, zone: str = CHICAGO) -> NDArray[np.datetime64]:
    start = as_instants([midnight_utc(day, zone)])[0]
    whole = start.astype("datetime64[h]").astype("datetime64[s]")
    steps: NDArray[np.datetime64] = whole + ONE_HOUR * np.arange(count)
    return steps


def hourly_cut(days: list[date], count: int, zone: str = CHICAGO) -> DayCut:
    times = hours_from(days[0], count, zone)
    return cut(times, times + ONE_HOUR, day_bounds(days, zone))


@pytest.mark.parametrize(("day", "length"), [(SPRING, 23), (AUTUMN, 25), (date(2026, 7, 1), 24)])
def test_a_day_has_the_hours_that_the_clock_gives_it(day: date, length: int) -> None:
    one = hourly_cut([day], 30)
    assert one.shared.sum() == length
    assert mean_of_day(one, np.ones(30)).notes == ({"hours_present": length},)


@pytest.mark.parametrize("day", [SPRING, AUTUMN, date(2026, 7, 1)])
@pytest.mark.parametrize(("present", "is_known"), [(21, False), (22, True), (23, True)])
def test_twenty_two_hours_make_a_day(day: date, present: int, is_known: bool) -> None:
    one = hourly_cut([day], 25)
    values = np.where(np.arange(25) < present, 5.0, np.nan)
    for field in (mean_of_day(one, values), highest_of_day(one, values)):
        assert np.isfinite(field.values[0]) == is_known
        assert field.notes[0] == {"hours_present": present}


def test_extremes_and_means_are_those_of_the_day_alone() -> None:
    two = hourly_cut([date(2026, 7, 1), date(2026, 7, 2)], 48)
    values = np.concatenate([np.arange(24.0), np.full(24, -3.0)])
    assert highest_of_day(two, values).values.tolist() == [23.0, -3.0]
    assert lowest_of_day(two, values).values.tolist() == [0.0, -3.0]
    assert mean_of_day(two, values).values.tolist() == [11.5, -3.0]


def test_a_zone_with_a_half_hour_gets_half_of_the_hour_at_its_midnight() -> None:
    # India is at +5:30: local midnight is half past the UTC hour.
    days = [date(2026, 7, 1), date(2026, 7, 2)]
    times = hours_from(days[0], 60, "Asia/Kolkata")
    two = cut(times, times + ONE_HOUR, day_bounds(days, "Asia/Kolkata"))
    rain = np.zeros(60)
    rain[24] = 2.0  # 18:00 to 19:00 UTC is 23:30 to 00:30
    assert rain_of_day(two, rain).values.tolist() == [1.0, 1.0]


def test_a_missing_hour_of_radiation_is_bridged() -> None:
    one = hourly_cut([date(2026, 7, 1)], 24)
    sun = np.full(24, 500.0)
    sun[12] = np.nan
    field = radiation_of_day(one, sun)
    # 24 hours of 500 W/m2 are 43.2 MJ/m2: FAO-56 Tab. 3, 1 W/m2 = 0.0864 MJ/m2 a day.
    assert field.values[0] == pytest.approx(43.2)
    assert field.notes[0] == {"hours_present": 23}


def test_radiation_that_breaks_off_before_the_end_of_the_day_is_not_a_sum() -> None:
    one = hourly_cut([date(2026, 7, 1)], 24)
    sun = np.full(24, 500.0)
    sun[22:] = np.nan
    assert np.isnan(radiation_of_day(one, sun).values[0])


def test_rain_that_lacks_an_hour_is_kept_and_marked() -> None:
    one = hourly_cut([date(2026, 7, 1)], 24)
    rain = np.full(24, 0.5)
    rain[3] = np.nan
    field = rain_of_day(one, rain)
    assert field.values[0] == 11.5
    assert field.notes[0] == {"hours_present": 23, "partial": True, "partial_mm": 11.5}


def test_rain_of_a_few_hours_is_noted_but_not_taken_for_the_day() -> None:
    one = hourly_cut([date(2026, 7, 1)], 24)
    rain = np.where(np.arange(24) < 5, 1.0, np.nan)
    field = rain_of_day(one, rain)
    assert np.isnan(field.values[0])
    assert field.notes[0] == {"hours_present": 5, "partial": True, "partial_mm": 5.0}


def test_a_day_of_which_nothing_is_known_has_no_value() -> None:
    one = hourly_cut([date(2026, 7, 1)], 24)
    nothing = np.full(24, np.nan)
    for of_day in (mean_of_day, highest_of_day, lowest_of_day, radiation_of_day, rain_of_day):
        field = of_day(one, nothing)
        assert np.isnan(field.values[0])
        assert field.notes[0] == {"hours_present": 0}


def test_no_intervals_at_all_are_no_mistake() -> None:
    none = np.array([], dtype="datetime64[s]")
    empty = cut(none, none, day_bounds([date(2026, 7, 1)], CHICAGO))
    for of_day in (mean_of_day, highest_of_day, lowest_of_day, radiation_of_day, rain_of_day):
        assert np.isnan(of_day(empty, np.array([])).values[0])


def test_sentinels_and_infinities_are_not_plausible() -> None:
    values = np.array([-999.0, -99.0, 1e300, np.inf, np.nan, 21.0])
    np.testing.assert_array_equal(plausible(values, "temperature_c"), [np.nan] * 5 + [21.0])


zones = st.sampled_from(
    ["America/Chicago", "Australia/Lord_Howe", "Asia/Kathmandu", "Europe/Berlin", "Pacific/Apia"]
)


@given(
    zone=zones,
    first_day=st.dates(date(2020, 1, 1), date(2035, 12, 31)),
    amounts=st.lists(st.floats(0, 100), min_size=1, max_size=40),
    length_h=st.integers(1, 13),
)
def test_rain_is_neither_lost_nor_doubled_when_it_is_shared_among_days(
    zone: str, first_day: date, amounts: list[float], length_h: int
) -> None:
    days = list_days(first_day, first_day + timedelta(days=25))
    start = as_instants([midnight_utc(first_day, zone)])[0]
    starts = start + ONE_HOUR * length_h * np.arange(len(amounts))
    shares = cut(starts, starts + ONE_HOUR * length_h, day_bounds(days, zone))
    values: Floats = np.array(amounts)
    total = shares.shared / shares.lengths @ values
    assert total.sum() == pytest.approx(values.sum(), abs=1e-9)
    lengths = [day_length_min(day, zone) / 60 for day in days]
    np.testing.assert_allclose(shares.day_lengths, lengths)
    assert (shares.shared.sum(axis=1) <= shares.day_lengths + 1e-9).all()
