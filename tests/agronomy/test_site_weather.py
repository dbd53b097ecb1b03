"""From raw weather to what the blocks use; values invented, equations of FAO-56."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from service.agronomy.crop_water_use import climate_term
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.site_weather import site_weather
from service.agronomy.weather_flags import FieldFlag
from service.operations.evening.site_columns import monthly_normals, site_batch
from service.records.farms import MonthlyNormals, SiteDefinition
from tests.factories import make_days, make_site, make_weather, weather_at


def test_reference_et_is_that_of_the_checked_weather() -> None:
    result = weather_at(make_weather(days=10, sites=2))
    expected_mm = reference_et_mm(
        result.checked, latitude_deg=np.full(2, 36.1), elevation_m=np.full(2, 273.0)
    )
    np.testing.assert_array_equal(result.days.et0_mm, expected_mm)
    assert np.all((result.days.et0_mm > 3.0) & (result.days.et0_mm < 8.0))


def with_gap(first: int, last: int, *, days: int = 24) -> np.ndarray:
    tmax_c = np.full((days, 1), 30.0)
    tmax_c[first:last] = np.nan
    return tmax_c


@pytest.mark.parametrize(
    ("length", "flag"),
    [
        (1, FieldFlag.FILLED_FROM_RECENT_DAYS),
        (3, FieldFlag.FILLED_FROM_RECENT_DAYS),
        (4, FieldFlag.FILLED_FROM_DAYS_AROUND),
        (10, FieldFlag.FILLED_FROM_DAYS_AROUND),
        (11, FieldFlag.MISSING),
    ],
)
def test_a_past_gap_of_up_to_ten_days_is_filled_and_flagged(length: int, flag: FieldFlag) -> None:
    result = weather_at(make_weather(days=24, tmax_c=with_gap(12, 12 + length)))
    inside = slice(12, 12 + length)
    is_filled = flag != FieldFlag.MISSING
    assert np.isfinite(result.days.et0_mm[inside]).all() == is_filled
    assert np.all(result.et0_flags[inside] == int(flag))
    assert np.isfinite(result.days.et0_mm[12 + length :]).all()


def test_a_longer_past_gap_takes_the_normal_where_the_site_has_one() -> None:
    site = make_site("hill", normals=MonthlyNormals(et0_mm=(7.0,) * 12))
    result = weather_at(make_weather(days=24, tmax_c=with_gap(12, 17)), [site])
    assert np.all(result.et0_flags[12:17] == int(FieldFlag.NORMAL_OF_SEASON))
    np.testing.assert_allclose(result.days.et0_mm[12:17], 7.0)


@pytest.mark.parametrize(("length", "is_filled"), [(9, True), (10, False)])
def test_a_missing_forecast_is_stood_in_for_over_nine_days(length: int, is_filled: bool) -> None:
    weather = make_weather(days=14 + length, tmax_c=with_gap(14, 14 + length, days=14 + length))
    result = weather_at(weather, first_future_row=14)
    assert np.isfinite(result.days.et0_mm[14:]).all() == is_filled
    if is_filled:
        # The mean of the last seven days; from the ninth on, one of them is over 14 days old.
        np.testing.assert_allclose(result.days.et0_mm[14:22], result.days.et0_mm[7:14].mean())


def test_a_missing_forecast_does_not_reopen_or_fill_the_past() -> None:
    weather = make_weather(days=24, tmax_c=with_gap(5, 16))
    result = weather_at(weather, first_future_row=18)
    assert np.isnan(result.days.et0_mm[5:16]).all()
    assert np.isfinite(result.days.et0_mm[16:]).all()


def test_one_site_in_a_wrong_unit_is_named_and_stops_no_other() -> None:
    tmax_c = np.array([[30.0, 86.0]]).repeat(10, axis=0)
    result = weather_at(make_weather(days=10, sites=2, tmax_c=tmax_c))
    assert list(result.unit_faults) == [1]
    assert "tmax_c" in result.unit_faults[1]
    assert np.isnan(result.days.et0_mm[:, 1]).all()
    alone = weather_at(make_weather(days=10, tmax_c=tmax_c[:, :1]))
    np.testing.assert_array_equal(result.days.et0_mm[:, 0], alone.days.et0_mm[:, 0])


def test_measured_rain_is_certain_and_forecast_rain_keeps_its_probability() -> None:
    weather = make_weather(days=2, rain_mm=5.0, rain_probability_fraction=0.4)
    sites = [make_site()]
    result = site_weather(
        weather,
        site_batch(sites),
        krs_per_sqrt_c=np.array([0.16]),
        is_measured_rain=np.array([[True], [False]]),
        normal_u2_m_s=monthly_normals(sites, "u2_m_s"),
        normal_rhmin_pct=monthly_normals(sites, "rhmin_pct"),
        normal_et0_mm=monthly_normals(sites, "et0_mm"),
        first_future_row=1,
    )
    assert result.days.rain_probability_fraction[:, 0].tolist() == [1.0, 0.4]
    assert weather.rain_probability_fraction[0, 0] == 0.4  # what came in is left as it was


def test_missing_rain_is_none_and_flagged() -> None:
    result = weather_at(make_weather(days=3, rain_mm=np.nan))
    assert np.all(result.days.rain_mm == 0.0)
    assert np.all(result.checked.flags["rain_mm"] & int(FieldFlag.ASSUMED_ZERO))


def test_the_climate_is_that_of_the_last_thirty_days_and_not_of_the_day_itself() -> None:
    wind_m_s = np.full((40, 1), 2.0)
    wind_m_s[35:] = 5.0
    result = weather_at(make_weather(days=40, wind_m_s=wind_m_s, rhmin_pct=45.0))
    term = result.days.climate_term[:, 0]
    np.testing.assert_allclose(term[:36], 0.0, atol=2e-3)  # Eq. 47 at 2 m is 1.0002
    # One, two windy days of thirty: mean wind 2.1, 2.2; FAO-56 Eq. 62, 0.04 (u2 - 2).
    np.testing.assert_allclose(term[36:38], [0.004, 0.008], atol=1e-4)


def test_too_few_days_of_climate_give_no_adjustment_and_say_so() -> None:
    result = weather_at(make_weather(days=10, rhmin_pct=30.0))
    assert result.climate_is_default[:, 0].tolist() == [True] * 7 + [False] * 3
    assert np.all(result.days.climate_term[:7] == 0.0)
    assert np.all(result.days.climate_term[7:] > 0.0)


def test_wind_that_is_only_assumed_does_not_count_as_climate() -> None:
    result = weather_at(make_weather(days=20, wind_m_s=np.nan))
    assert result.climate_is_default.all()
    assert np.isfinite(result.days.et0_mm).all()


def normal_site(site_id: str = "hill") -> SiteDefinition:
    return make_site(
        site_id,
        normals=MonthlyNormals(
            u2_m_s=tuple(1.0 + 0.1 * month for month in range(12)), rhmin_pct=(40.0,) * 12
        ),
    )


def test_normals_of_the_season_go_before_the_last_days() -> None:
    weather = make_weather(days=make_days(date(2023, 5, 30), 4), wind_m_s=4.0)
    result = weather_at(weather, [normal_site()])
    # Wind is 1.4 m/s in the middle of May and 1.5 in that of June; 30 May lies 14/31 of a month on.
    may_30 = 1.4 + 0.1 * 14.0 / 31.0
    june_2 = 1.5 - 0.1 * 13.5 / 30.0
    ends = climate_term([may_30, june_2], [40.0, 40.0])
    np.testing.assert_allclose(result.days.climate_term[[0, 3], 0], ends)
    assert not result.climate_is_default.any()


def test_each_site_has_its_own_climate() -> None:
    weather = make_weather(days=12, sites=2, rhmin_pct=45.0, wind_m_s=3.0)
    result = weather_at(weather, [normal_site("hill"), make_site("valley")])
    assert not result.climate_is_default[:, 0].any()
    assert result.climate_is_default[:7, 1].all()
    np.testing.assert_allclose(result.days.climate_term[7:, 1], 0.04, atol=1e-3)


def test_past_climate_does_not_change_when_later_weather_arrives() -> None:
    weather = make_weather(days=60, rhmin_pct=50.0 + 10.0 * np.sin(np.arange(60))[:, None])
    whole = weather_at(weather).days
    names = [name for name in weather.__dataclass_fields__ if name not in {"days", "wind_height_m"}]
    part = replace(
        weather, days=weather.days[:45], **{name: getattr(weather, name)[:45] for name in names}
    )
    early = weather_at(part).days
    np.testing.assert_array_equal(early.climate_term, whole.climate_term[:45])
    np.testing.assert_array_equal(early.et0_mm, whole.et0_mm[:45])


def test_temperatures_for_degree_days_carry_over_a_gap_and_nothing_else_does() -> None:
    tmax_c = np.array([[np.nan], [28.0], [np.nan], [np.nan], [31.0]])
    result = weather_at(make_weather(days=5, tmax_c=tmax_c))
    carried = result.days.tmax_c[:, 0]
    assert np.isnan(carried[0])
    assert carried[1:].tolist() == [28.0, 28.0, 28.0, 31.0]
    assert np.isnan(result.checked.tmax_c[2, 0])


def test_the_sun_rises_by_the_clock_of_the_place() -> None:
    weather = make_weather(days=make_days(date(2023, 3, 11), 3))
    sunrise = weather_at(weather).days.sunrise_min[:, 0]
    # On 12 March the clock goes forward at 02:00. In minutes since midnight the sun rises a
    # minute or two earlier each day before and on that day (midnight is still winter time), and
    # an hour later from the next day on.
    assert -3.0 < sunrise[1] - sunrise[0] < 0.0
    assert 57.0 < sunrise[2] - sunrise[1] < 60.0
