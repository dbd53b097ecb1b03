"""Sunrise, sunset and the spread of the day's ET between them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.atmosphere import daylight_hours
from service.agronomy.civil_day import midnight_utc_min
from service.agronomy.stress_kernel import et_share
from service.agronomy.sun import seasonal_correction_min, sunrise_sunset_min

YEAR = np.datetime64("2023-01-01", "D") + np.arange(365)


def times(
    day: str, latitude_deg: float, longitude_deg: float, midnight_min: float
) -> tuple[float, float]:
    sunrise, sunset = sunrise_sunset_min(
        np.array([day], "M8[D]"), latitude_deg, longitude_deg, midnight_utc_min=[[midnight_min]]
    )
    return float(sunrise[0, 0]), float(sunset[0, 0])


def test_the_length_of_the_day_is_that_of_the_printed_example() -> None:
    # FAO-56 Ex. 9: 11.7 h on 3 September at 20 degrees south (unrounded 11.666).
    sunrise, sunset = times("2023-09-03", -20.0, 0.0, 0.0)
    assert (sunset - sunrise) / 60.0 == pytest.approx(11.666, abs=0.001)


def test_the_seasonal_correction_is_that_of_the_printed_example() -> None:
    # FAO-56 Ex. 19 (N'Diaye, Senegal, 1 October, J 274) prints Sc = 0.1889 h.
    first_of_october = np.array(["2023-10-01"], "M8[D]")
    assert seasonal_correction_min(first_of_october)[0] / 60.0 == pytest.approx(0.1889, abs=0.0005)


def test_noon_moves_four_minutes_for_each_degree_of_longitude() -> None:
    east = sum(times("2023-05-01", 40.0, 10.0, 0.0)) / 2.0
    west = sum(times("2023-05-01", 40.0, 5.0, 0.0)) / 2.0
    assert west - east == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("zone", "latitude_deg", "longitude_deg"),
    [
        ("America/Chicago", 41.9, -87.6),
        ("Pacific/Apia", -13.8, -171.8),
        ("Pacific/Kiritimati", 1.9, -157.4),
        ("Pacific/Auckland", -36.8, 174.8),
        ("Asia/Kolkata", 28.6, 77.2),
        ("America/Adak", 51.9, -176.6),
        ("Asia/Shanghai", 39.5, 76.0),
    ],
)
def test_the_sun_is_highest_in_the_middle_of_the_civil_day_in_every_zone(
    zone: str, latitude_deg: float, longitude_deg: float
) -> None:
    sunrise, sunset = sunrise_sunset_min(
        YEAR, latitude_deg, longitude_deg, midnight_utc_min=midnight_utc_min(YEAR, [zone])
    )
    noon = (sunrise + sunset) / 2.0
    assert (np.abs(noon - 720.0) < 200.0).all()
    assert ((sunrise >= 0.0) & (sunrise < sunset) & (sunset <= 1440.0)).all()
    np.testing.assert_allclose(sunset - sunrise, 60.0 * daylight_hours(YEAR, latitude_deg))


def test_days_and_sites_at_once_give_what_each_gives_alone() -> None:
    latitude, longitude = np.array([-33.0, 36.1, 61.0]), np.array([151.0, -79.95, 25.0])
    zones = ["Australia/Sydney", "America/New_York", "Europe/Helsinki"]
    midnight = midnight_utc_min(YEAR, zones)
    together = sunrise_sunset_min(YEAR, latitude, longitude, midnight_utc_min=midnight)
    for site in range(3):
        alone = sunrise_sunset_min(
            YEAR, latitude[site], longitude[site], midnight_utc_min=midnight[:, [site]]
        )
        for ours, single in zip(together, alone, strict=True):
            np.testing.assert_array_equal(ours[:, [site]], single)


def test_the_polar_night_has_no_length_and_the_polar_day_is_the_whole_day() -> None:
    sunrise, sunset = times("2023-12-21", 70.0, 0.0, 0.0)
    assert sunrise == sunset
    assert 700.0 < sunrise < 740.0
    assert times("2023-06-21", 70.0, 0.0, 0.0) == (0.0, 1440.0)


def test_a_sunset_after_midnight_counts_as_the_end_of_the_day() -> None:
    # Invented: 65.5 degrees north, clocks two hours ahead of the sun.
    sunrise, sunset = times("2023-06-01", 65.5, 0.0, -120.0)
    assert sunset == 1440.0
    assert 0.0 < sunrise < 720.0


def test_an_unknown_place_has_no_sun_times() -> None:
    for latitude_deg, longitude_deg in ((math.nan, 0.0), (10.0, math.nan)):
        assert all(math.isnan(time) for time in times("2023-06-01", latitude_deg, longitude_deg, 0))


def test_et_runs_from_nothing_at_sunrise_to_all_at_sunset_through_a_half_at_noon() -> None:
    share = [
        et_share(minute, 360.0, 1080.0)
        for minute in (0.0, 360.0, 540.0, 720.0, 900.0, 1080.0, 1440.0)
    ]
    quarter = (1.0 - math.cos(math.pi / 4.0)) / 2.0
    np.testing.assert_allclose(share, [0.0, 0.0, quarter, 0.5, 1.0 - quarter, 1.0, 1.0], atol=1e-12)


def test_a_day_without_length_spends_its_et_at_that_minute() -> None:
    assert [et_share(minute, 720.0, 720.0) for minute in (719.0, 720.0, 721.0)] == [0.0, 1.0, 1.0]


@given(
    sunrise=st.floats(0.0, 700.0),
    length=st.floats(0.0, 740.0),
    first=st.floats(0.0, 1440.0),
    second=st.floats(0.0, 1440.0),
)
def test_the_share_never_falls_and_stays_between_nothing_and_all(
    sunrise: float, length: float, first: float, second: float
) -> None:
    early, late = sorted((first, second))
    before = et_share(early, sunrise, sunrise + length)
    after = et_share(late, sunrise, sunrise + length)
    assert 0.0 <= before <= after <= 1.0
