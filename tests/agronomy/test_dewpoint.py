"""How far the dewpoint lies below the night minimum: learned, given, or taken as 0."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from service.agronomy.atmosphere import saturation_vapour_pressure_kpa
from service.agronomy.dewpoint import LEARNING_DAYS, dewpoint_c, dewpoint_offsets
from service.agronomy.records import Days, Floats
from service.agronomy.site_weather import SiteWeather, site_weather
from service.operations.evening.site_columns import site_batch
from tests.factories import make_days, make_site, make_weather

NOT_GIVEN = np.full((12, 1), np.nan)


def days_with(offset_c: Floats, first_day: date = date(2023, 1, 1)) -> tuple[Days, Floats, Floats]:
    """Days with a night minimum of 15 degC and a dewpoint so far below it, one site."""
    days = make_days(first_day, offset_c.size)
    tmin_c = np.full((offset_c.size, 1), 15.0)
    return days, tmin_c, saturation_vapour_pressure_kpa(tmin_c - offset_c[:, None])


def test_the_dewpoint_is_the_temperature_at_which_the_air_is_saturated() -> None:
    temperature = np.linspace(-20.0, 35.0, 56)
    np.testing.assert_allclose(
        dewpoint_c(saturation_vapour_pressure_kpa(temperature)), temperature, atol=1e-9
    )
    assert np.isnan(dewpoint_c(0.0))


def test_each_month_learns_the_median_of_its_own_days() -> None:
    july, august = np.full(31, 9.8), np.full(31, 5.0)
    july[:3] = -4.0  # three days of rain
    found = dewpoint_offsets(*days_with(np.r_[july, august], date(2023, 7, 1)), own_c=NOT_GIVEN)
    assert found.tdew_offset_c[6:8, 0].tolist() == pytest.approx([9.8, 5.0])
    assert found.tdew_offset_days_count[6:8, 0].tolist() == [31, 31]


def test_a_month_with_too_few_days_takes_the_nearest_that_has_enough() -> None:
    offset_c = np.r_[np.full(31, 2.0), np.full(LEARNING_DAYS - 1, 8.0)]  # January, some February
    found = dewpoint_offsets(*days_with(offset_c), own_c=NOT_GIVEN)
    assert found.tdew_offset_c[:, 0].tolist() == pytest.approx([2.0] * 12)
    assert set(found.tdew_offset_days_count[:, 0].tolist()) == {31}


def test_what_was_given_stands_above_what_was_learned() -> None:
    given_c = NOT_GIVEN.copy()
    given_c[0] = 2.5
    found = dewpoint_offsets(*days_with(np.full(31, 9.0)), own_c=given_c)
    assert found.tdew_offset_c[:2, 0].tolist() == pytest.approx([2.5, 9.0])
    assert found.tdew_offset_days_count[:2, 0].tolist() == [0, 31]


def test_a_site_that_never_had_humidity_has_none_taken_off() -> None:
    days, tmin_c, ea_kpa = days_with(np.zeros(40))
    found = dewpoint_offsets(days, tmin_c, np.full_like(ea_kpa, np.nan), own_c=NOT_GIVEN)
    assert found.tdew_offset_c[:, 0].tolist() == [0.0] * 12
    assert found.tdew_offset_days_count[:, 0].tolist() == [0] * 12


def dry_days(own_c: Floats | None = None) -> SiteWeather:
    """Forty days in a desert, twenty of them without humidity."""
    weather = make_weather(days=40, tmax_c=38.0, tmin_c=20.0, rhmin_pct=np.nan)
    weather.tdew_c[:] = 12.0
    weather.tdew_c[20:] = np.nan
    return site_weather(
        weather,
        site_batch([make_site()]),
        krs_per_sqrt_c=np.array([0.16]),
        is_measured_rain=np.ones((40, 1), dtype=np.bool_),
        normal_u2_m_s=NOT_GIVEN,
        normal_rhmin_pct=NOT_GIVEN,
        normal_et0_mm=NOT_GIVEN,
        first_future_row=40,
        own_tdew_offset_c=own_c,
    )


def test_days_without_humidity_use_what_the_others_show() -> None:
    learned, fixed = dry_days(), dry_days(np.zeros((12, 1)))
    measured = learned.checked.ea_kpa[:20, 0]
    np.testing.assert_allclose(learned.checked.ea_kpa[20:, 0], measured, rtol=1e-9)
    assert np.all(fixed.checked.ea_kpa[20:, 0] > 1.5 * measured)
    assert np.all(learned.days.et0_mm[20:] > fixed.days.et0_mm[20:])
    np.testing.assert_array_equal(learned.days.et0_mm[:20], fixed.days.et0_mm[:20])
    assert learned.tdew_offset_c[-1, 0] == pytest.approx(8.0)
    assert learned.tdew_offset_days_count[-1, 0] == 20
