"""Reference ET and its parts against the worked examples printed in FAO-56.

Source of every expected value unless stated otherwise: Allen, Pereira, Raes and Smith 1998, FAO
Irrigation and Drainage Paper 56, Examples 2 to 20. Where the paper prints a rounded result, the
unrounded one beside it was worked out with the paper's own equations.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    daylight_hours,
    extraterrestrial_radiation_mj_m2,
    mean_saturation_vapour_pressure_kpa,
    radiation_from_sunshine_mj_m2,
    radiation_from_temperature_range_mj_m2,
    saturation_vapour_pressure_kpa,
    wind_at_2m_m_s,
)
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.weather_day import RawWeather, WeatherDays, check_weather
from service.agronomy.weather_flags import FieldFlag
from service.errors import WeatherInvalid
from tests.agronomy.fao56_formulas import (
    atmospheric_pressure_kpa,
    hargreaves_et_mm,
    net_longwave_radiation_mj_m2,
    psychrometric_constant_kpa_per_c,
    vapour_pressure_from_wet_bulb_kpa,
)


def day_of_year(number: int) -> np.ndarray[tuple[int], np.dtype[np.datetime64]]:
    """The day with this number in a year of 365 days."""
    return np.array([np.datetime64("2023-01-01", "D") + (number - 1)])


def one_day(number: int, **values: float) -> RawWeather:
    """A day at one site of which only these values are known; wind is at 2 m unless given."""
    raw = RawWeather.empty(day_of_year(number), 1)
    known = {name: np.full((1, 1), value) for name, value in values.items()}
    return replace(raw, **({"wind_height_m": np.full((1, 1), 2.0)} | known))


def et0_of(weather: WeatherDays, *, latitude_deg: float, elevation_m: float) -> float:
    et0 = reference_et_mm(weather, latitude_deg=latitude_deg, elevation_m=elevation_m)
    return float(et0[0, 0])


def test_cv01_pressure_and_psychrometric_constant_at_1800_m() -> None:
    # FAO-56 Ex. 2 prints 81.8 kPa and 0.054 kPa/degC.
    assert float(atmospheric_pressure_kpa(1800.0)) == pytest.approx(81.76, abs=0.05)
    assert float(psychrometric_constant_kpa_per_c(1800.0)) == pytest.approx(0.05437, abs=0.0005)


def test_cv02_mean_saturation_vapour_pressure() -> None:
    # FAO-56 Ex. 3 prints 3.075, 1.705 and 2.39 kPa; 2.30 from the mean temperature is too low.
    assert float(saturation_vapour_pressure_kpa(24.5)) == pytest.approx(3.075, abs=0.0005)
    assert float(saturation_vapour_pressure_kpa(15.0)) == pytest.approx(1.705, abs=0.0005)
    assert float(mean_saturation_vapour_pressure_kpa(24.5, 15.0)) == pytest.approx(2.390, abs=0.005)
    assert float(saturation_vapour_pressure_kpa(19.75)) == pytest.approx(2.30, abs=0.005)


def test_cv03_vapour_pressure_and_deficit_from_extreme_humidities() -> None:
    # FAO-56 Ex. 5 prints 1.70 kPa, Ex. 6 a deficit of 0.91 kPa.
    raw = one_day(186, tmax_c=25.0, tmin_c=18.0, rhmax_pct=82.0, rhmin_pct=54.0)
    ea = check_weather(raw, latitude_deg=45.0, elevation_m=0.0).ea_kpa[0, 0]
    assert ea == pytest.approx(1.7015, abs=0.005)
    deficit = float(mean_saturation_vapour_pressure_kpa(25.0, 18.0)) - ea
    assert deficit == pytest.approx(0.914, abs=0.005)


def test_cv04_vapour_pressure_from_mean_humidity() -> None:
    # FAO-56 Ex. 5 prints 1.78 kPa for Eq. 19 with RHmean 68 %.
    raw = one_day(186, tmax_c=25.0, tmin_c=18.0, rhmean_pct=68.0)
    weather = check_weather(raw, latitude_deg=45.0, elevation_m=0.0)
    assert weather.ea_kpa[0, 0] == pytest.approx(1.779, abs=0.005)
    assert weather.flags["ea_kpa"][0, 0] == FieldFlag.ESTIMATED_FROM_RHMEAN


def test_cv05_vapour_pressure_from_a_psychrometer() -> None:
    # FAO-56 Ex. 4 prints 87.9 kPa and 1.91 kPa.
    assert float(atmospheric_pressure_kpa(1200.0)) == pytest.approx(87.9, abs=0.05)
    ea = float(vapour_pressure_from_wet_bulb_kpa(25.6, 19.5, 1200.0))
    assert ea == pytest.approx(1.912, abs=0.005)


def test_cv06_radiation_above_the_air_and_daylight_hours() -> None:
    # FAO-56 Ex. 8 prints 32.2 MJ/m2, Ex. 9 prints 11.7 h.
    days = day_of_year(246)
    assert extraterrestrial_radiation_mj_m2(days, -20.0)[0, 0] == pytest.approx(32.194, abs=0.05)
    assert daylight_hours(days, -20.0)[0, 0] == pytest.approx(11.666, abs=0.05)


def test_cv07_radiation_from_sunshine() -> None:
    # FAO-56 Ex. 10 prints Ra 25.1 MJ/m2, N 10.9 h, Rs 14.5 MJ/m2.
    raw = one_day(135, tmax_c=25.1, tmin_c=19.1, sunshine_h=7.1)
    ra = extraterrestrial_radiation_mj_m2(raw.days, -22.9)
    daylight = daylight_hours(raw.days, -22.9)
    assert ra[0, 0] == pytest.approx(25.11, abs=0.05)
    assert daylight[0, 0] == pytest.approx(10.9, abs=0.05)
    assert radiation_from_sunshine_mj_m2(7.1, daylight, ra)[0, 0] == pytest.approx(14.46, abs=0.05)
    weather = check_weather(raw, latitude_deg=-22.9, elevation_m=0.0)
    assert weather.rs_mj_m2[0, 0] == pytest.approx(14.46, abs=0.05)


def test_cv08_net_longwave_and_net_radiation() -> None:
    # FAO-56 Ex. 11 prints 3.5, Ex. 12 prints 7.6 MJ/m2. Clear sky 0.75 Ra = 18.8 MJ/m2.
    clear = clear_sky_radiation_mj_m2(day_of_year(135), -22.9, 0.0)[0, 0]
    longwave = float(net_longwave_radiation_mj_m2(25.1, 19.1, 2.1, relative_shortwave=14.5 / clear))
    assert longwave == pytest.approx(3.525, abs=0.05)
    assert 0.77 * 14.5 - longwave == pytest.approx(7.64, abs=0.05)


def test_cv09_wind_at_2_m() -> None:
    # FAO-56 Ex. 14 prints 2.4 m/s.
    assert float(wind_at_2m_m_s(3.2, 10.0)) == pytest.approx(2.393, abs=0.005)


def uccle(**changes: float) -> RawWeather:
    """FAO-56 Ex. 18: Uccle, 6 July, 10 km/h of wind at 10 m, 9.25 h of sunshine."""
    known = {
        "tmax_c": 21.5,
        "tmin_c": 12.3,
        "rhmax_pct": 84.0,
        "rhmin_pct": 63.0,
        "wind_m_s": 10.0 / 3.6,
        "wind_height_m": 10.0,
        "sunshine_h": 9.25,
    }
    return one_day(187, **(known | changes))


def test_cv10_daily_reference_et_with_every_intermediate_value() -> None:
    # FAO-56 Ex. 18 prints 3.88, rounded to 3.9 mm/d, and the intermediate values below.
    weather = check_weather(uccle(), latitude_deg=50.80, elevation_m=100.0)
    assert weather.u2_m_s[0, 0] == pytest.approx(2.078, abs=0.0006)
    assert weather.ea_kpa[0, 0] == pytest.approx(1.409, abs=0.0006)
    assert weather.rs_mj_m2[0, 0] == pytest.approx(22.07, abs=0.01)
    assert daylight_hours(weather.days, 50.80)[0, 0] == pytest.approx(16.1, abs=0.05)
    above = extraterrestrial_radiation_mj_m2(weather.days, 50.80)[0, 0]
    clear = clear_sky_radiation_mj_m2(weather.days, 50.80, 100.0)[0, 0]
    assert above == pytest.approx(41.09, abs=0.005)
    assert clear == pytest.approx(30.90, abs=0.005)
    relative = weather.rs_mj_m2[0, 0] / clear
    longwave = net_longwave_radiation_mj_m2(21.5, 12.3, 1.409, relative_shortwave=relative)
    assert float(longwave) == pytest.approx(3.71, abs=0.005)
    et0 = et0_of(weather, latitude_deg=50.80, elevation_m=100.0)
    assert et0 == pytest.approx(3.880, abs=0.005)


def test_cv10_measured_radiation_gives_the_same() -> None:
    # FAO-56 Ex. 18 with its Rs of 22.07 MJ/m2 given in place of the sunshine.
    weather = check_weather(uccle(rs_mj_m2=22.07), latitude_deg=50.80, elevation_m=100.0)
    assert weather.flags["rs_mj_m2"][0, 0] == 0
    assert et0_of(weather, latitude_deg=50.80, elevation_m=100.0) == pytest.approx(3.880, abs=0.005)


def test_cv11_monthly_reference_et_at_bangkok() -> None:
    # FAO-56 Ex. 17 prints 5.72 mm/d for April with a soil heat flux of 0.14 MJ/m2. This service
    # works by the day, without soil heat flux (Eq. 42), so the flux's part of Eq. 6 is taken off.
    raw = one_day(105, tmax_c=34.8, tmin_c=25.6, ea_kpa=2.85, wind_m_s=2.0, sunshine_h=8.5)
    latitude_deg = 13.0 + 44.0 / 60.0
    weather = check_weather(raw, latitude_deg=latitude_deg, elevation_m=2.0)
    without_flux = et0_of(weather, latitude_deg=latitude_deg, elevation_m=2.0)
    mean_c = (34.8 + 25.6) / 2.0
    slope = 4098.0 * float(saturation_vapour_pressure_kpa(mean_c)) / (mean_c + 237.3) ** 2
    gamma = float(psychrometric_constant_kpa_per_c(2.0))
    flux_mm = 0.408 * slope * 0.14 / (slope + gamma * (1.0 + 0.34 * 2.0))
    assert without_flux - flux_mm == pytest.approx(5.716, abs=0.005)
    assert without_flux - flux_mm == pytest.approx(5.72, abs=0.03)


@pytest.mark.parametrize(
    ("wind_m_s", "printed_mm", "unrounded_mm"),
    [(float("nan"), 4.56, 4.5604), (1.0, 4.2, 4.2277), (3.0, 4.8, 4.8406)],
)
def test_cv12_reference_et_from_temperature_alone(
    wind_m_s: float, printed_mm: float, unrounded_mm: float
) -> None:
    # FAO-56 Ex. 20, Lyon, July: 4.56 mm/d at the default 2 m/s, 4.2 at 1 m/s, 4.8 at 3 m/s.
    raw = one_day(196, tmax_c=26.6, tmin_c=14.8, wind_m_s=wind_m_s)
    weather = check_weather(raw, latitude_deg=45.72, elevation_m=200.0)
    assert weather.flags["ea_kpa"][0, 0] == FieldFlag.ESTIMATED_FROM_TMIN
    assert weather.flags["rs_mj_m2"][0, 0] == FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE
    et0 = et0_of(weather, latitude_deg=45.72, elevation_m=200.0)
    assert et0 == pytest.approx(printed_mm, abs=0.05)
    assert et0 == pytest.approx(unrounded_mm, abs=0.005)


def test_cv13_hargreaves() -> None:
    # FAO-56 Ex. 20 prints 5.0 mm/d for Eq. 52.
    ra = extraterrestrial_radiation_mj_m2(day_of_year(196), 45.72)
    assert hargreaves_et_mm(26.6, 14.8, ra)[0, 0] == pytest.approx(5.033, abs=0.005)


def test_cv14_radiation_from_the_temperature_range_inland() -> None:
    # FAO-56 Ex. 15 prints Ra 40.6 and Rs 22.3 MJ/m2.
    raw = one_day(196, tmax_c=26.6, tmin_c=14.8)
    weather = check_weather(raw, latitude_deg=45.72, elevation_m=200.0, krs_per_sqrt_c=0.16)
    assert extraterrestrial_radiation_mj_m2(raw.days, 45.72)[0, 0] == pytest.approx(40.6, abs=0.05)
    assert weather.rs_mj_m2[0, 0] == pytest.approx(22.29, abs=0.05)


def test_cv15_net_radiation_on_a_coast_from_the_temperature_range() -> None:
    # FAO-56 Ex. 16, Bangkok, April, kRs 0.19: Rs 21.9, Rns 16.9, Rnl 3.0, Rn 13.9 MJ/m2.
    latitude_deg = 13.0 + 44.0 / 60.0
    days = day_of_year(105)
    ra = extraterrestrial_radiation_mj_m2(days, latitude_deg)
    rs = radiation_from_temperature_range_mj_m2(34.8, 25.6, ra, krs_per_sqrt_c=0.19)
    relative = rs / clear_sky_radiation_mj_m2(days, latitude_deg, 2.0)
    longwave = net_longwave_radiation_mj_m2(34.8, 25.6, 2.85, relative_shortwave=relative)
    assert rs[0, 0] == pytest.approx(21.9, abs=0.05)
    assert 0.77 * rs[0, 0] == pytest.approx(16.9, abs=0.05)
    assert longwave[0, 0] == pytest.approx(3.0, abs=0.05)
    assert 0.77 * rs[0, 0] - longwave[0, 0] == pytest.approx(13.93, abs=0.1)


def test_solar_declination_and_distance_of_the_printed_example() -> None:
    # FAO-56 Ex. 8: declination 0.120 rad, sunset angle 1.527 rad on 3 September at 20 S.
    from service.agronomy.atmosphere import solar_declination_rad, sunset_hour_angle_rad

    days = day_of_year(246)
    assert solar_declination_rad(days)[0] == pytest.approx(0.120, abs=0.0005)
    assert sunset_hour_angle_rad(days, -20.0)[0, 0] == pytest.approx(1.527, abs=0.0005)


@pytest.mark.parametrize("latitude_deg", [91.0, -180.0, 5080.0])
def test_cv18_an_impossible_latitude_is_refused(latitude_deg: float) -> None:
    weather = check_weather(uccle(), latitude_deg=50.80, elevation_m=100.0)
    with pytest.raises(WeatherInvalid, match="latitude_deg"):
        et0_of(weather, latitude_deg=latitude_deg, elevation_m=100.0)


def test_cv19_days_in_reverse_order_are_refused() -> None:
    raw = RawWeather.empty(np.array(["2023-07-07", "2023-07-06"], "M8[D]"), 1)
    with pytest.raises(WeatherInvalid, match="days"):
        check_weather(raw, latitude_deg=50.80, elevation_m=100.0)
