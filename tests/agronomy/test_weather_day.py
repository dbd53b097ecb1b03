"""Checking and filling of daily weather: what is removed, what replaces it, and its flags."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    extraterrestrial_radiation_mj_m2,
    mean_saturation_vapour_pressure_kpa,
    saturation_vapour_pressure_kpa,
)
from service.agronomy.reference_et import reference_et_mm
from service.agronomy.weather_day import RawWeather, WeatherDays, check_weather, find_unit_mistakes
from service.agronomy.weather_flags import FLAG_TEXT, FieldFlag, describe_flags
from service.errors import WeatherInvalid

FIRST_DAY = np.datetime64("2023-07-01", "D")
LATITUDE_DEG = 36.0
ELEVATION_M = 270.0


def ordinary_raw(day_count: int = 1, site_count: int = 1) -> RawWeather:
    """Invented warm days with every field measured; no two days alike, so that none look stuck."""
    days = FIRST_DAY + np.arange(day_count)
    drift = 0.1 * np.arange(day_count)[:, np.newaxis] + np.zeros((day_count, site_count))
    return RawWeather(
        days=days,
        tmax_c=30.0 + drift,
        tmin_c=19.0 + drift,
        tdew_c=18.0 + drift,
        rhmax_pct=94.0 - drift,
        rhmin_pct=50.0 - drift,
        rhmean_pct=70.0 - drift,
        wind_m_s=2.5 + 0.1 * drift,
        rs_mj_m2=22.0 + drift,
        sunshine_h=9.0 + drift,
        rain_mm=3.0 + drift,
        rain_probability_fraction=0.5 + 0.01 * drift,
        ea_kpa=np.full_like(drift, np.nan),
        wind_height_m=np.full(site_count, 10.0),
    )


def check(
    raw: RawWeather, *, krs_per_sqrt_c: float = 0.16, tdew_offset_c: float = 0.0
) -> WeatherDays:
    return check_weather(
        raw,
        latitude_deg=LATITUDE_DEG,
        elevation_m=ELEVATION_M,
        krs_per_sqrt_c=krs_per_sqrt_c,
        tdew_offset_c=tdew_offset_c,
    )


def unknown(raw: RawWeather, *names: str) -> RawWeather:
    """The same weather with these fields not given."""
    return replace(raw, **{name: np.full(raw.tmax_c.shape, np.nan) for name in names})


def only(raw: RawWeather, name: str, value: float) -> RawWeather:
    """The same weather with one field set to one value on all days."""
    return replace(raw, **{name: np.full(raw.tmax_c.shape, value)})


def flag_of(weather: WeatherDays, name: str, day: int = 0) -> FieldFlag:
    return FieldFlag(int(weather.flags[name][day, 0]))


def test_ordinary_measured_weather_passes_through_without_a_flag() -> None:
    raw = ordinary_raw(10, 3)
    weather = check(raw)
    assert all((flags == 0).all() for flags in weather.flags.values())
    for name in ("tmax_c", "tmin_c", "rs_mj_m2", "rain_mm", "rain_probability_fraction"):
        np.testing.assert_array_equal(getattr(weather, name), getattr(raw, name))
    np.testing.assert_array_equal(weather.rhmin_pct, raw.rhmin_pct)


def test_flags_exist_for_every_field_of_the_result_and_no_other() -> None:
    names = {field.name for field in fields(WeatherDays)} - {"days", "flags"}
    weather = check(ordinary_raw(2, 2))
    assert set(weather.flags) == names
    assert all(
        flags.shape == (2, 2) and flags.dtype == np.int32 for flags in weather.flags.values()
    )


def test_every_flag_has_a_sentence_for_people() -> None:
    assert set(FLAG_TEXT) == set(FieldFlag)
    assert all(text.endswith(".") for text in FLAG_TEXT.values())
    assert describe_flags(0) == ()
    assert len(describe_flags(sum(FieldFlag))) == len(FieldFlag)


def test_nothing_known_leaves_temperature_missing_and_fills_only_what_may_be_assumed() -> None:
    weather = check(RawWeather.empty(FIRST_DAY + np.arange(5), 2))
    for name in ("tmax_c", "tmin_c", "ea_kpa", "rhmin_pct", "rs_mj_m2"):
        assert np.isnan(getattr(weather, name)).all()
        assert (weather.flags[name] == FieldFlag.MISSING).all()
    assert (weather.u2_m_s == 2.0).all()  # FAO-56 chapter 3: 2 m/s where wind is not known
    assert (weather.flags["u2_m_s"] == FieldFlag.DEFAULT_WIND).all()
    assert (weather.rain_mm == 0.0).all()
    assert (weather.flags["rain_mm"] == FieldFlag.ASSUMED_ZERO).all()
    assert (weather.rain_probability_fraction == 1.0).all()
    assert (weather.flags["rain_probability_fraction"] == FieldFlag.ASSUMED_CERTAIN).all()


def test_the_input_is_not_changed() -> None:
    raw = only(ordinary_raw(4), "tmax_c", -60.0)
    before = {field.name: getattr(raw, field.name).copy() for field in fields(raw)}
    check(raw)
    for name, values in before.items():
        np.testing.assert_array_equal(getattr(raw, name), values)


@pytest.mark.parametrize(
    ("name", "value", "field"),
    [
        ("tmax_c", -40.1, "tmax_c"),
        ("tmin_c", -40.1, "tmin_c"),
        ("tdew_c", -41.0, "ea_kpa"),
        ("ea_kpa", -0.1, "ea_kpa"),
        ("rhmin_pct", -1.0, "rhmin_pct"),
        ("wind_m_s", -0.1, "u2_m_s"),
        ("rs_mj_m2", -1.0, "rs_mj_m2"),
        ("rain_mm", -9999.0, "rain_mm"),
        ("rain_mm", 500.1, "rain_mm"),
        ("rain_probability_fraction", 1.01, "rain_probability_fraction"),
        ("rain_probability_fraction", -0.01, "rain_probability_fraction"),
        ("rain_mm", math.inf, "rain_mm"),
    ],
)
def test_a_value_outside_its_range_is_removed_and_flagged(
    name: str, value: float, field: str
) -> None:
    raw = ordinary_raw()
    weather = check(only(raw, name, value))
    assert FieldFlag.OUT_OF_RANGE in flag_of(weather, field)
    assert getattr(weather, field)[0, 0] != value


@pytest.mark.parametrize(
    ("name", "value"), [("tmax_c", 56.0), ("wind_m_s", 20.1), ("ea_kpa", 6.1), ("rs_mj_m2", 46.0)]
)
def test_one_day_above_the_range_is_removed_while_the_rest_of_the_series_stands(
    name: str, value: float
) -> None:
    raw = ordinary_raw(5)
    series = getattr(raw, name).copy()
    series[2] = value
    weather = check(replace(raw, **{name: series}))
    field = {"wind_m_s": "u2_m_s"}.get(name, name)
    found = (weather.flags[field][:, 0] & FieldFlag.OUT_OF_RANGE) != 0
    assert found.tolist() == [False, False, True, False, False]


def test_a_removed_temperature_is_missing_and_takes_its_estimates_with_it() -> None:
    raw = unknown(only(ordinary_raw(), "tmin_c", -41.0), "rs_mj_m2", "sunshine_h")
    weather = check(raw)
    assert flag_of(weather, "tmin_c") == FieldFlag.OUT_OF_RANGE | FieldFlag.MISSING
    assert np.isnan(weather.tmin_c[0, 0])
    assert flag_of(weather, "rs_mj_m2") == FieldFlag.MISSING


def test_a_maximum_below_the_minimum_removes_both() -> None:
    weather = check(only(ordinary_raw(), "tmax_c", 18.9))
    for name in ("tmax_c", "tmin_c"):
        assert np.isnan(getattr(weather, name)[0, 0])
        assert flag_of(weather, name) == FieldFlag.INCONSISTENT | FieldFlag.MISSING


def test_a_maximum_equal_to_the_minimum_is_kept() -> None:
    weather = check(only(ordinary_raw(), "tmax_c", 19.0))
    assert weather.tmax_c[0, 0] == weather.tmin_c[0, 0] == 19.0


def test_a_day_that_warms_by_more_than_35_degrees_is_not_believed() -> None:
    weather = check(only(ordinary_raw(), "tmin_c", -5.1))
    assert np.isnan(weather.tmax_c[0, 0])
    assert flag_of(weather, "tmax_c") == FieldFlag.OUT_OF_RANGE | FieldFlag.MISSING
    assert flag_of(weather, "tmin_c") == FieldFlag.OUT_OF_RANGE | FieldFlag.MISSING


# Order of humidity evidence: FAO-56 chapter 3, Eq. 14 > 17 > 18 > 19 > 48; a measured daily mean
# vapour pressure goes before them. Each row removes the better evidence and expects the next.
HUMIDITY_ORDER = [
    ((), 2.0, FieldFlag(0)),
    (("ea_kpa",), float(saturation_vapour_pressure_kpa(18.0)), FieldFlag(0)),
    (
        ("ea_kpa", "tdew_c"),
        float(
            saturation_vapour_pressure_kpa(19.0) * 0.94 + saturation_vapour_pressure_kpa(30.0) * 0.5
        )
        / 2.0,
        FieldFlag(0),
    ),
    (
        ("ea_kpa", "tdew_c", "rhmin_pct"),
        float(saturation_vapour_pressure_kpa(19.0)) * 0.94,
        FieldFlag.ESTIMATED_FROM_RHMAX,
    ),
    (
        ("ea_kpa", "tdew_c", "rhmin_pct", "rhmax_pct"),
        float(mean_saturation_vapour_pressure_kpa(30.0, 19.0)) * 0.70,
        FieldFlag.ESTIMATED_FROM_RHMEAN,
    ),
    (
        ("ea_kpa", "tdew_c", "rhmin_pct", "rhmax_pct", "rhmean_pct"),
        float(saturation_vapour_pressure_kpa(19.0)),
        FieldFlag.ESTIMATED_FROM_TMIN,
    ),
]


@pytest.mark.parametrize(("removed", "expected_kpa", "flag"), HUMIDITY_ORDER)
def test_the_best_evidence_of_humidity_that_is_left_is_used(
    removed: tuple[str, ...], expected_kpa: float, flag: FieldFlag
) -> None:
    weather = check(unknown(only(ordinary_raw(), "ea_kpa", 2.0), *removed))
    assert weather.ea_kpa[0, 0] == pytest.approx(expected_kpa, abs=1e-12)
    assert flag_of(weather, "ea_kpa") == flag


def test_the_lowest_humidity_alone_says_nothing_of_the_vapour_pressure() -> None:
    raw = unknown(ordinary_raw(), "tdew_c", "rhmax_pct", "rhmean_pct")
    assert flag_of(check(raw), "ea_kpa") == FieldFlag.ESTIMATED_FROM_TMIN


def test_dry_places_take_the_dewpoint_below_the_night_minimum() -> None:
    # FAO-56 chapter 3 (text at Eq. 48) and Annex 6: subtract 2 to 3 degC in arid climates.
    raw = unknown(ordinary_raw(), "tdew_c", "rhmin_pct", "rhmax_pct", "rhmean_pct")
    weather = check(raw, tdew_offset_c=2.0)
    assert weather.ea_kpa[0, 0] == pytest.approx(float(saturation_vapour_pressure_kpa(17.0)))


@pytest.mark.parametrize("tdew_c", [21.1, 24.0])
def test_a_dewpoint_above_the_night_minimum_is_kept(tdew_c: float) -> None:
    # Fronts and sea breezes bring moister air by day; on 15 stations of California's network every
    # fifth day is like that (tests/validation/test_real_stations.py).
    weather = check(only(ordinary_raw(), "tdew_c", tdew_c))
    assert weather.ea_kpa[0, 0] == saturation_vapour_pressure_kpa(tdew_c)
    assert flag_of(weather, "ea_kpa") == FieldFlag(0)


def test_a_dewpoint_near_the_maximum_is_limited_to_saturation() -> None:
    weather = check(only(ordinary_raw(), "tdew_c", 30.2))
    es = mean_saturation_vapour_pressure_kpa(30.0, 19.0)
    assert weather.ea_kpa[0, 0] == es
    assert flag_of(weather, "ea_kpa") == FieldFlag.LIMITED_TO_SATURATION


def test_a_dewpoint_above_the_maximum_cannot_be_and_is_passed_over() -> None:
    weather = check(only(ordinary_raw(), "tdew_c", 31.0))
    from_extremes = check(unknown(ordinary_raw(), "tdew_c")).ea_kpa
    np.testing.assert_array_equal(weather.ea_kpa, from_extremes)
    assert flag_of(weather, "ea_kpa") == FieldFlag.INCONSISTENT


def bright_third_day(day_count: int, **others: float) -> RawWeather:
    """Invented clear days, 85 % of a clear sky's sun, the third with 130 %; no sunshine hours."""
    raw = unknown(ordinary_raw(day_count), "sunshine_h")
    clear = clear_sky_radiation_mj_m2(raw.days, LATITUDE_DEG, ELEVATION_M)
    share = np.full(day_count, 0.85)
    share[2] = 1.3
    raw = replace(raw, rs_mj_m2=share[:, np.newaxis] * clear)
    for name, value in others.items():
        getattr(raw, name)[2] = value
    return raw


def test_radiation_above_a_clear_sky_is_replaced_by_the_clearness_of_the_days_around() -> None:
    raw = bright_third_day(5)
    weather = check(raw)
    clear = clear_sky_radiation_mj_m2(raw.days, LATITUDE_DEG, ELEVATION_M)
    assert weather.rs_mj_m2[2, 0] == pytest.approx(0.85 * clear[2, 0])
    assert flag_of(weather, "rs_mj_m2", 2) == (
        FieldFlag.OUT_OF_RANGE | FieldFlag.ESTIMATED_FROM_NEAR_DAYS
    )


def test_the_days_around_must_be_three_good_ones_within_a_week() -> None:
    assert FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE in flag_of(
        check(bright_third_day(3)), "rs_mj_m2", 2
    )
    raw = bright_third_day(5)
    apart = replace(raw, days=raw.days + np.array([0, 0, 9, 17, 25]))
    assert FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE in flag_of(check(apart), "rs_mj_m2", 2)


def test_too_much_sun_with_another_night_minimum_looks_like_part_of_a_day() -> None:
    weather = check(bright_third_day(5, tmin_c=25.0))
    for name in ("tmin_c", "rs_mj_m2"):
        suspect = (weather.flags[name][:, 0] & FieldFlag.SUSPECT_PART_DAY) != 0
        assert suspect.tolist() == [False, False, True, False, False]
    assert FieldFlag.SUSPECT_PART_DAY not in flag_of(check(bright_third_day(5)), "tmin_c", 2)


def test_chance_repeats_of_a_coarse_value_are_not_taken_for_a_stuck_sensor() -> None:
    # Winds of one of five values repeat on every fifth pair of days: 400 days then hold a run of
    # four by chance (expected number 400 * 0.2^3 = 3.2), but none of twelve (8e-6).
    coarse = np.random.default_rng(7).integers(10, 15, size=(400, 1)) / 10.0
    weather = check(replace(ordinary_raw(400), wind_m_s=coarse))
    run = np.diff(np.flatnonzero(np.diff(coarse[:, 0], prepend=0.0, append=0.0) != 0.0))
    assert run.max() >= 4
    assert ((weather.flags["u2_m_s"] & FieldFlag.SUSPECT_STUCK) == 0).all()
    coarse[100:112] = 1.2
    coarse[[99, 112]] = 1.4
    stuck = check(replace(ordinary_raw(400), wind_m_s=coarse)).flags["u2_m_s"][:, 0]
    found = np.flatnonzero(stuck & FieldFlag.SUSPECT_STUCK)
    assert found.tolist() == list(range(100, 112))


def test_more_vapour_than_the_air_can_hold_is_limited_to_saturation() -> None:
    weather = check(only(ordinary_raw(), "ea_kpa", 5.0))
    es = mean_saturation_vapour_pressure_kpa(weather.tmax_c, weather.tmin_c)
    np.testing.assert_array_equal(weather.ea_kpa, es)
    assert flag_of(weather, "ea_kpa") == FieldFlag.LIMITED_TO_SATURATION


def test_humidity_up_to_105_percent_counts_as_100_and_beyond_is_removed() -> None:
    raw = unknown(ordinary_raw(), "tdew_c", "rhmin_pct", "rhmean_pct")
    slightly, far = check(only(raw, "rhmax_pct", 104.0)), check(only(raw, "rhmax_pct", 105.1))
    full = float(saturation_vapour_pressure_kpa(19.0))
    assert slightly.ea_kpa[0, 0] == pytest.approx(full)
    assert flag_of(slightly, "ea_kpa") == FieldFlag.ESTIMATED_FROM_RHMAX | FieldFlag.CLIPPED
    assert flag_of(far, "ea_kpa") == FieldFlag.ESTIMATED_FROM_TMIN | FieldFlag.OUT_OF_RANGE


def test_a_lowest_humidity_above_the_highest_removes_both() -> None:
    raw = unknown(only(ordinary_raw(), "rhmin_pct", 95.0), "tdew_c")
    weather = check(raw)
    assert flag_of(weather, "ea_kpa") == FieldFlag.INCONSISTENT | FieldFlag.ESTIMATED_FROM_RHMEAN
    assert flag_of(weather, "rhmin_pct") == (
        FieldFlag.INCONSISTENT | FieldFlag.ESTIMATED_FROM_VAPOUR_PRESSURE
    )


def test_a_missing_lowest_humidity_comes_from_the_vapour_pressure() -> None:
    # FAO-56 Eq. 63: RHmin = 100 e0(Tdew) / e0(Tmax).
    weather = check(unknown(ordinary_raw(), "rhmin_pct"))
    expected = 100.0 * saturation_vapour_pressure_kpa(18.0) / saturation_vapour_pressure_kpa(30.0)
    assert weather.rhmin_pct[0, 0] == pytest.approx(float(expected))
    assert flag_of(weather, "rhmin_pct") == FieldFlag.ESTIMATED_FROM_VAPOUR_PRESSURE


@pytest.mark.parametrize(
    ("height_m", "factor"),
    # Factors computed by hand from FAO-56 Eq. 47; FAO-56 Annex 2, Table 2.9, p. 222,
    # prints 1.000, 0.921, 0.812, 0.748.
    [(2.0, 1.0002), (3.0, 0.9209), (6.0, 0.8124), (10.0, 0.74795)],
)
def test_wind_is_brought_down_to_2_m(height_m: float, factor: float) -> None:
    raw = replace(only(ordinary_raw(), "wind_m_s", 4.0), wind_height_m=np.array([height_m]))
    assert check(raw).u2_m_s[0, 0] == pytest.approx(4.0 * factor, abs=4e-4)


def test_the_height_of_the_wind_may_change_from_day_to_day() -> None:
    raw = replace(ordinary_raw(2), wind_height_m=np.array([[2.0], [10.0]]))
    ratio = check(raw).u2_m_s[:, 0] / raw.wind_m_s[:, 0]
    np.testing.assert_allclose(ratio, [1.0002, 0.74795], atol=1e-4)


def test_calm_days_count_as_half_a_metre_a_second() -> None:
    # FAO-56 chapter 3: u2 >= 0.5 m/s in Eq. 6.
    weather = check(only(ordinary_raw(), "wind_m_s", 0.0))
    assert weather.u2_m_s[0, 0] == 0.5
    assert flag_of(weather, "u2_m_s") == FieldFlag.CLIPPED


@pytest.mark.parametrize("height_m", [0.5, 1.0, 2.0, 10.0, 200.0])
def test_the_fastest_wind_that_is_kept_can_be_computed_with(height_m: float) -> None:
    raw = replace(only(ordinary_raw(), "wind_m_s", 20.0), wind_height_m=np.array([height_m]))
    weather = check(raw)
    assert flag_of(weather, "u2_m_s") == FieldFlag(0)
    et0 = reference_et_mm(weather, latitude_deg=LATITUDE_DEG, elevation_m=ELEVATION_M)
    assert et0[0, 0] > 0.0


@pytest.mark.parametrize("height_m", [math.nan, 0.0, -2.0, 201.0])
def test_wind_without_a_usable_height_is_refused(height_m: float) -> None:
    raw = replace(ordinary_raw(), wind_height_m=np.array([height_m]))
    with pytest.raises(WeatherInvalid, match="site 0, 2023-07-01: wind_height_m"):
        check(raw)


def test_no_wind_needs_no_height() -> None:
    raw = replace(unknown(ordinary_raw(), "wind_m_s"), wind_height_m=np.array([math.nan]))
    assert check(raw).u2_m_s[0, 0] == 2.0


def test_radiation_falls_back_from_sunshine_to_the_temperature_range() -> None:
    raw = ordinary_raw()
    ra = float(extraterrestrial_radiation_mj_m2(raw.days, LATITUDE_DEG)[0, 0])
    by_sun = check(unknown(raw, "rs_mj_m2"))
    by_range = check(unknown(raw, "rs_mj_m2", "sunshine_h"))
    assert flag_of(by_sun, "rs_mj_m2") == FieldFlag.ESTIMATED_FROM_SUNSHINE
    assert 0.25 * ra < by_sun.rs_mj_m2[0, 0] < 0.75 * ra
    assert flag_of(by_range, "rs_mj_m2") == FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE
    assert by_range.rs_mj_m2[0, 0] == pytest.approx(0.16 * math.sqrt(11.0) * ra)  # FAO-56 Eq. 50


def test_radiation_from_the_temperature_range_never_exceeds_a_clear_sky() -> None:
    raw = only(unknown(ordinary_raw(), "rs_mj_m2", "sunshine_h"), "tmin_c", -4.0)
    weather = check(raw, krs_per_sqrt_c=0.19)
    clear = clear_sky_radiation_mj_m2(raw.days, LATITUDE_DEG, ELEVATION_M)
    np.testing.assert_array_equal(weather.rs_mj_m2, clear)


@pytest.mark.parametrize(
    ("share_of_clear_sky", "kept"),
    [(0.0299, False), (0.0301, True), (1.0, True), (1.0999, True), (1.1001, False)],
)
def test_radiation_must_lie_between_a_dark_and_a_clear_day(
    share_of_clear_sky: float, kept: bool
) -> None:
    raw = ordinary_raw()
    clear = float(clear_sky_radiation_mj_m2(raw.days, LATITUDE_DEG, ELEVATION_M)[0, 0])
    weather = check(only(raw, "rs_mj_m2", share_of_clear_sky * clear))
    if kept:
        assert weather.rs_mj_m2[0, 0] == share_of_clear_sky * clear
        assert flag_of(weather, "rs_mj_m2") == FieldFlag(0)
    else:
        assert flag_of(weather, "rs_mj_m2") == (
            FieldFlag.OUT_OF_RANGE | FieldFlag.ESTIMATED_FROM_SUNSHINE
        )


def test_sunshine_slightly_beyond_the_day_is_clipped_and_far_beyond_is_not_used() -> None:
    raw = unknown(ordinary_raw(), "rs_mj_m2")
    slightly, far = check(only(raw, "sunshine_h", 14.8)), check(only(raw, "sunshine_h", 16.0))
    ra = float(extraterrestrial_radiation_mj_m2(raw.days, LATITUDE_DEG)[0, 0])
    assert slightly.rs_mj_m2[0, 0] == pytest.approx(0.75 * ra)
    assert flag_of(slightly, "rs_mj_m2") == FieldFlag.ESTIMATED_FROM_SUNSHINE | FieldFlag.CLIPPED
    assert flag_of(far, "rs_mj_m2") == (
        FieldFlag.OUT_OF_RANGE | FieldFlag.ESTIMATED_FROM_TEMPERATURE_RANGE
    )


def test_the_polar_night_has_no_radiation_and_no_complaint() -> None:
    raw = replace(unknown(ordinary_raw(5), "sunshine_h"), rs_mj_m2=np.zeros((5, 1)))
    raw = replace(raw, days=np.datetime64("2023-12-20", "D") + np.arange(5))
    weather = check_weather(raw, latitude_deg=75.0, elevation_m=10.0)
    assert (weather.rs_mj_m2 == 0.0).all()
    assert (weather.flags["rs_mj_m2"] == 0).all()


def test_a_jump_is_flagged_and_kept() -> None:
    raw = ordinary_raw(3)
    tmax = np.array([[35.0], [19.9], [30.0]])
    weather = check(replace(raw, tmax_c=tmax))
    assert weather.tmax_c[1, 0] == 19.9
    flagged = (weather.flags["tmax_c"][:, 0] & FieldFlag.SUSPECT_JUMP) != 0
    assert flagged.tolist() == [False, True, False]


def test_a_jump_needs_days_that_follow_each_other() -> None:
    raw = replace(ordinary_raw(2), tmax_c=np.array([[38.0], [20.0]]))
    apart = replace(raw, days=np.array(["2023-07-01", "2023-07-08"], "M8[D]"))
    assert FieldFlag.SUSPECT_JUMP not in flag_of(check(apart), "tmax_c", 1)


@pytest.mark.parametrize(
    ("name", "field"),
    [("tmax_c", "tmax_c"), ("tmin_c", "tmin_c"), ("tdew_c", "ea_kpa"), ("wind_m_s", "u2_m_s")],
)
def test_the_same_value_on_four_days_running_is_suspect_on_three_it_is_not(
    name: str, field: str
) -> None:
    raw = ordinary_raw(9)
    series = getattr(raw, name).copy()
    series[0:3] = series[0]
    series[4:8] = series[4]
    weather = check(replace(raw, **{name: series}))
    flagged = (weather.flags[field][:, 0] & FieldFlag.SUSPECT_STUCK) != 0
    assert flagged.tolist() == [False] * 4 + [True] * 4 + [False]


def test_radiation_stuck_above_zero_is_suspect() -> None:
    weather = check(only(ordinary_raw(4), "rs_mj_m2", 18.0))
    assert (weather.flags["rs_mj_m2"] == FieldFlag.SUSPECT_STUCK).all()


def test_the_same_value_on_days_that_do_not_follow_each_other_is_not_suspect() -> None:
    raw = replace(ordinary_raw(5), tmax_c=np.full((5, 1), 30.0))
    apart = replace(raw, days=FIRST_DAY + np.array([0, 1, 2, 9, 10]))
    assert (check(apart).flags["tmax_c"] == 0).all()


def test_a_series_of_dry_days_is_not_suspect() -> None:
    weather = check(replace(ordinary_raw(9), rain_mm=np.zeros((9, 1))))
    assert (weather.flags["rain_mm"] == 0).all()


def test_forecast_days_are_flagged_in_every_field() -> None:
    raw = ordinary_raw(4)
    weather = check_weather(
        raw, latitude_deg=36.0, elevation_m=0.0, forecast_from=FIRST_DAY + np.timedelta64(2, "D")
    )
    for flags in weather.flags.values():
        assert ((flags[:, 0] & FieldFlag.FORECAST) != 0).tolist() == [False, False, True, True]


@pytest.mark.parametrize(
    ("name", "value", "hint"),
    [
        ("tmax_c", 86.0, "°F"),
        ("tmax_c", 303.0, "K"),
        ("rs_mj_m2", 250.0, "W/m²"),
        ("wind_m_s", 25.0, "km/h"),
        ("ea_kpa", 21.0, "hPa"),
        ("rhmax_pct", 0.94, "fractions"),
        ("rhmean_pct", 0.7, "fractions"),
    ],
)
def test_a_series_in_another_unit_is_refused_with_field_value_range_and_cause(
    name: str, value: float, hint: str
) -> None:
    raw = ordinary_raw(5, 2)
    series = getattr(raw, name).copy()
    series[:, 1] = value
    raw = replace(raw, **{name: series})
    with pytest.raises(WeatherInvalid) as caught:
        check(raw)
    (fault,) = caught.value.faults
    assert fault.where == f"site 1: {name}"
    assert f"{value:g}" in fault.found
    assert hint in fault.found
    assert fault.allowed.startswith("0 to" if not name.startswith("t") else "-40 to 55")
    assert [mistake.site_index for mistake in find_unit_mistakes(raw)] == [1]


def test_two_bad_readings_are_removed_and_not_taken_for_another_unit() -> None:
    weather = check(only(ordinary_raw(2), "rs_mj_m2", 250.0))
    assert (weather.flags["rs_mj_m2"] & FieldFlag.OUT_OF_RANGE).all()


@pytest.mark.parametrize(
    ("latitude_deg", "elevation_m"),
    [(90.1, 0.0), (-90.1, 0.0), (math.nan, 0.0), (math.inf, 0.0), (36.0, 6001.0), (36.0, math.nan)],
)
def test_a_site_that_is_nowhere_on_earth_is_refused(
    latitude_deg: float, elevation_m: float
) -> None:
    with pytest.raises(WeatherInvalid, match="site 0"):
        check_weather(ordinary_raw(), latitude_deg=latitude_deg, elevation_m=elevation_m)


def test_shapes_that_do_not_fit_are_refused_by_name() -> None:
    raw = ordinary_raw(3, 2)
    with pytest.raises(WeatherInvalid, match="rain_mm"):
        check(replace(raw, rain_mm=np.zeros((3, 1))))
    with pytest.raises(WeatherInvalid, match="latitude_deg"):
        check_weather(raw, latitude_deg=[36.0, 36.0, 36.0], elevation_m=0.0)
    with pytest.raises(WeatherInvalid, match="tmax_c"):
        check(replace(raw, tmax_c=np.zeros(3)))


@pytest.mark.parametrize(
    "days",
    [["2023-07-02", "2023-07-01"], ["2023-07-01", "2023-07-01"], ["2023-07-01", "NaT"]],
)
def test_days_out_of_order_doubled_or_unknown_are_refused(days: list[str]) -> None:
    with pytest.raises(WeatherInvalid, match="days"):
        check(replace(ordinary_raw(2), days=np.array(days, "M8[D]")))


def test_days_that_carry_a_time_of_day_are_refused() -> None:
    with pytest.raises(WeatherInvalid, match=r"datetime64\[D\]"):
        check(replace(ordinary_raw(1), days=np.array(["2023-07-01T00"], "M8[h]")))


def test_sites_are_checked_as_if_each_were_alone() -> None:
    raw = ordinary_raw(12, 3)
    tmax = raw.tmax_c.copy()
    tmax[3, 1], tmax[5:10, 2] = 10.0, 31.0
    rs = raw.rs_mj_m2.copy()
    rs[2, 0], rs[:, 1] = np.nan, np.nan
    raw = replace(raw, tmax_c=tmax, rs_mj_m2=rs)
    latitude, elevation = np.array([10.0, 36.0, 55.0]), np.array([0.0, 270.0, 900.0])
    together = check_weather(raw, latitude_deg=latitude, elevation_m=elevation)
    for site in range(3):
        alone = check_weather(
            RawWeather(
                raw.days,
                *(
                    getattr(raw, field.name)[..., site : site + 1]
                    for field in fields(raw)
                    if field.name != "days"
                ),
            ),
            latitude_deg=latitude[site],
            elevation_m=elevation[site],
        )
        for name, flags in together.flags.items():
            np.testing.assert_array_equal(flags[:, [site]], alone.flags[name])
            np.testing.assert_array_equal(getattr(together, name)[:, [site]], getattr(alone, name))


def readings(lowest: float, highest: float) -> st.SearchStrategy[NDArray[np.float64]]:
    elements = st.floats(lowest, highest) | st.just(math.nan)
    return arrays(np.float64, (4, 2), elements=elements)


@given(
    tmax=readings(-60.0, 70.0),
    tmin=readings(-60.0, 70.0),
    tdew=readings(-60.0, 40.0),
    rh=readings(-10.0, 120.0),
    rhmin=readings(-10.0, 120.0),
    wind=readings(-1.0, 30.0),
    rs=readings(-5.0, 60.0),
    sunshine=readings(-2.0, 20.0),
    rain=readings(-10.0, 600.0),
    ea=readings(-1.0, 8.0),
)
def test_whatever_comes_in_what_goes_out_can_be_computed_with(
    tmax: NDArray[np.float64],
    tmin: NDArray[np.float64],
    tdew: NDArray[np.float64],
    rh: NDArray[np.float64],
    rhmin: NDArray[np.float64],
    wind: NDArray[np.float64],
    rs: NDArray[np.float64],
    sunshine: NDArray[np.float64],
    rain: NDArray[np.float64],
    ea: NDArray[np.float64],
) -> None:
    raw = replace(
        RawWeather.empty(FIRST_DAY + np.arange(4), 2),
        tmax_c=tmax,
        tmin_c=tmin,
        tdew_c=tdew,
        rhmax_pct=rh,
        rhmin_pct=rhmin,
        wind_m_s=wind,
        wind_height_m=np.array([2.0, 10.0]),
        rs_mj_m2=rs,
        sunshine_h=sunshine,
        rain_mm=rain,
        ea_kpa=ea,
    )
    if find_unit_mistakes(raw):
        with pytest.raises(WeatherInvalid):
            check(raw)
        return
    weather = check(raw)
    et0 = reference_et_mm(weather, latitude_deg=LATITUDE_DEG, elevation_m=ELEVATION_M)
    known = ~np.isnan(weather.tmax_c) & ~np.isnan(weather.tmin_c)
    assert (np.isnan(et0) != known).all()
    assert (et0[known] >= 0.0).all()
    for name, flags in weather.flags.items():
        missing = (flags & FieldFlag.MISSING) != 0
        np.testing.assert_array_equal(np.isnan(getattr(weather, name)), missing)
    assert (weather.u2_m_s >= 0.5).all()
    assert ((weather.rain_mm >= 0.0) & (weather.rain_mm <= 500.0)).all()
