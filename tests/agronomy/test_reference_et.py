"""The door to the reference ET library: what it refuses and keeps apart, and how gaps close."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pyet
import pytest
import xarray
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray

from service.agronomy.atmosphere import (
    clear_sky_radiation_mj_m2,
    extraterrestrial_radiation_mj_m2,
    saturation_vapour_pressure_kpa,
)
from service.agronomy.reference_et import fill_reference_et, reference_et_mm
from service.agronomy.weather_day import WeatherDays
from service.agronomy.weather_flags import FieldFlag
from service.errors import WeatherInvalid
from tests.agronomy.fao56_formulas import hargreaves_et_mm
from tests.patience import PATIENCE_S

LATITUDE_DEG = 50.80
ELEVATION_M = 100.0


def brussels(day_count: int = 1, site_count: int = 1) -> WeatherDays:
    """The day of FAO-56 Example 18 (Uccle, 6 July), repeated; its ET0 is printed as 3.9."""
    shape = (day_count, site_count)
    return WeatherDays(
        days=np.datetime64("2023-07-06", "D") + np.arange(day_count),
        tmax_c=np.full(shape, 21.5),
        tmin_c=np.full(shape, 12.3),
        ea_kpa=np.full(shape, 1.409),
        rhmin_pct=np.full(shape, 63.0),
        u2_m_s=np.full(shape, 2.078),
        rs_mj_m2=np.full(shape, 22.07),
        rain_mm=np.zeros(shape),
        rain_probability_fraction=np.ones(shape),
        flags={},
    )


def et0_of(weather: WeatherDays) -> NDArray[np.float64]:
    return reference_et_mm(weather, latitude_deg=LATITUDE_DEG, elevation_m=ELEVATION_M)


def with_value(weather: WeatherDays, name: str, value: float, *, day: int = 0) -> WeatherDays:
    values = getattr(weather, name).copy()
    values[day] = value
    return replace(weather, **{name: values})


def part(weather: WeatherDays, days: list[int], sites: list[int]) -> WeatherDays:
    """Some days and sites of the weather, in the order asked for."""

    def cut(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return values[np.ix_(days, sites)]

    return WeatherDays(
        days=weather.days[days],
        tmax_c=cut(weather.tmax_c),
        tmin_c=cut(weather.tmin_c),
        ea_kpa=cut(weather.ea_kpa),
        rhmin_pct=cut(weather.rhmin_pct),
        u2_m_s=cut(weather.u2_m_s),
        rs_mj_m2=cut(weather.rs_mj_m2),
        rain_mm=cut(weather.rain_mm),
        rain_probability_fraction=cut(weather.rain_probability_fraction),
        flags={},
    )


def varied(day_count: int, site_count: int, *, seed: int = 5) -> WeatherDays:
    """Invented weather, different on every day and site."""
    random = np.random.default_rng(seed)
    shape = (day_count, site_count)
    tmin = random.uniform(2.0, 20.0, shape)
    return replace(
        brussels(day_count, site_count),
        tmax_c=tmin + random.uniform(3.0, 15.0, shape),
        tmin_c=tmin,
        ea_kpa=saturation_vapour_pressure_kpa(tmin) * random.uniform(0.6, 1.0, shape),
        u2_m_s=random.uniform(0.5, 6.0, shape),
        rs_mj_m2=random.uniform(5.0, 25.0, shape),
    )


def test_many_sites_and_days_at_once_give_what_each_gives_alone() -> None:
    weather = varied(5, 4)
    latitude, elevation = np.array([-33.0, 0.0, 36.1, 55.0]), np.array([0.0, 2500.0, 273.0, 7.0])
    weather = replace(weather, rs_mj_m2=np.minimum(weather.rs_mj_m2, 10.0))
    together = reference_et_mm(weather, latitude_deg=latitude, elevation_m=elevation)
    for site in range(4):
        for day in range(5):
            alone = part(weather, [day], [site])
            et0 = reference_et_mm(alone, latitude_deg=latitude[site], elevation_m=elevation[site])
            assert et0[0, 0] == pytest.approx(together[day, site], abs=1e-12)


def test_the_order_of_the_sites_does_not_matter() -> None:
    weather = varied(6, 5)
    order = [3, 0, 4, 1, 2]
    shuffled = part(weather, list(range(6)), order)
    np.testing.assert_array_equal(et0_of(shuffled), et0_of(weather)[:, order])


@pytest.mark.parametrize("name", ["tmax_c", "tmin_c", "ea_kpa", "u2_m_s", "rs_mj_m2"])
def test_a_missing_value_is_missing_on_its_own_day_and_site_only(name: str) -> None:
    weather = varied(4, 3)
    values = getattr(weather, name).copy()
    values[1, 2] = np.nan
    et0 = et0_of(replace(weather, **{name: values}))
    expected = et0_of(weather)
    expected[1, 2] = np.nan
    np.testing.assert_array_equal(et0, expected)


@pytest.mark.parametrize("name", ["tmax_c", "tmin_c", "ea_kpa", "u2_m_s", "rs_mj_m2"])
def test_a_field_without_one_value_gives_no_et_instead_of_a_crash(name: str) -> None:
    # Trap: the library answers a column of nothing but NaN with "greater than 100 MJ/m2d".
    weather = brussels(3, 2)
    for day in range(3):
        weather = with_value(weather, name, math.nan, day=day)
    assert np.isnan(et0_of(weather)).all()


def test_no_sites_give_an_empty_table() -> None:
    assert et0_of(brussels(3, 0)).shape == (3, 0)


@pytest.mark.parametrize("latitude_deg", [90.01, -91.0, 3300.0, math.nan, math.inf])
def test_an_impossible_latitude_is_refused(latitude_deg: float) -> None:
    with pytest.raises(WeatherInvalid, match="latitude_deg"):
        reference_et_mm(brussels(), latitude_deg=latitude_deg, elevation_m=ELEVATION_M)


def test_degrees_never_reach_the_library_as_radians() -> None:
    """CV18. The library takes 33.0 "radians" without a word (3.387 for FAO-56 Ex. 18 weather)."""

    def straight(latitude_rad: float) -> float:
        day = brussels()

        def table(values: NDArray[np.float64]) -> xarray.DataArray:
            return xarray.DataArray(
                values, dims=("time", "site"), coords={"time": day.days.astype("M8[ns]")}
            )

        one = [day.tmax_c, day.tmin_c, day.u2_m_s, day.rs_mj_m2, day.ea_kpa]
        tmax, tmin, wind, rs, ea = (table(values) for values in one)
        result = pyet.pm_fao56(
            (tmax + tmin) / 2.0,
            wind,
            rs=rs,
            tmax=tmax,
            tmin=tmin,
            ea=ea,
            elevation=ELEVATION_M,
            lat=xarray.DataArray([latitude_rad], dims=("site",)),
        )
        return float(result[0, 0])

    ours = reference_et_mm(brussels(), latitude_deg=33.0, elevation_m=ELEVATION_M)[0, 0]
    assert ours == pytest.approx(straight(math.radians(33.0)), abs=1e-12)


def test_latitude_in_degrees_decides_the_result() -> None:
    equator = reference_et_mm(brussels(), latitude_deg=0.887, elevation_m=ELEVATION_M)[0, 0]
    assert et0_of(brussels())[0, 0] == pytest.approx(3.88, abs=0.005)
    assert abs(equator - 3.88) > 0.01


@pytest.mark.parametrize(
    "days",
    [
        ["2023-07-08", "2023-07-07", "2023-07-06"],
        ["2023-07-06", "2023-07-06", "2023-07-07"],
        ["2023-07-06", "2023-07-08", "2023-07-07"],
    ],
)
def test_days_reversed_doubled_or_shuffled_are_refused(days: list[str]) -> None:
    """CV19. The library pairs radiation with the other columns by position, whatever its index."""
    weather = replace(varied(3, 1), days=np.array(days, "M8[D]"))
    with pytest.raises(WeatherInvalid, match=r"days\["):
        et0_of(weather)


@pytest.mark.parametrize("name", ["tmin_c", "rs_mj_m2", "u2_m_s", "ea_kpa"])
def test_a_field_of_another_shape_is_refused_by_name(name: str) -> None:
    weather = brussels(3, 2)
    with pytest.raises(WeatherInvalid, match=name):
        et0_of(replace(weather, **{name: getattr(weather, name)[1:]}))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("rs_mj_m2", 120.0),  # W/m2: the library computes 19.3 mm from it
        ("rs_mj_m2", 40.0),  # above the clear sky of 30.9 (FAO-56 Ex. 18)
        ("rs_mj_m2", -0.1),
        ("u2_m_s", -3.0),
        ("u2_m_s", 30.5),
        ("tmax_c", 12.0),  # below the minimum
        ("tmax_c", 71.0),
        ("tmin_c", -41.0),
        ("ea_kpa", 2.1),  # above saturation, 1.997 (FAO-56 Ex. 18)
        ("ea_kpa", -0.1),
    ],
)
def test_impossible_values_are_refused_with_their_place(name: str, value: float) -> None:
    weather = with_value(brussels(3), name, value, day=1)
    with pytest.raises(WeatherInvalid, match=f"site 0, 2023-07-07: {name}") as caught:
        et0_of(weather)
    assert f"{value:g}" in caught.value.faults[0].found


def test_calm_air_counts_as_half_a_metre_a_second() -> None:
    # FAO-56 chapter 3; with u2 = 0 the equation gives 3.507 instead of 3.613.
    calm = et0_of(with_value(brussels(), "u2_m_s", 0.0))[0, 0]
    assert calm == et0_of(with_value(brussels(), "u2_m_s", 0.5))[0, 0]
    assert calm == pytest.approx(3.613, abs=0.002)


def test_vapour_a_hair_above_saturation_counts_as_saturation() -> None:
    # Stored values are rounded, so 0.02 kPa above saturation (1.9975) is no reason to refuse.
    saturated = et0_of(with_value(brussels(), "ea_kpa", 1.99749))[0, 0]
    above = et0_of(with_value(brussels(), "ea_kpa", 2.015))[0, 0]
    assert above == pytest.approx(saturated, abs=1e-4)


def test_cold_dark_saturated_air_asks_for_no_water_rather_than_giving_some() -> None:
    weather = replace(
        brussels(),
        days=np.array(["2023-12-21"], "M8[D]"),
        tmax_c=np.array([[2.0]]),
        tmin_c=np.array([[0.0]]),
        ea_kpa=np.array([[0.658]]),
        rs_mj_m2=np.array([[0.2]]),
    )
    assert et0_of(weather)[0, 0] == 0.0


def test_the_polar_day_and_night_are_computed() -> None:
    weather = replace(brussels(), rs_mj_m2=np.array([[0.0]]))
    assert reference_et_mm(weather, latitude_deg=-78.0, elevation_m=10.0)[0, 0] >= 0.0
    assert reference_et_mm(brussels(), latitude_deg=78.0, elevation_m=10.0)[0, 0] > 0.0


@given(change=st.floats(0.1, 3.0), seed=st.integers(0, 50))
@settings(max_examples=25)
def test_more_sun_never_lowers_the_demand(change: float, seed: int) -> None:
    weather = varied(3, 2, seed=seed)
    sunnier = replace(weather, rs_mj_m2=weather.rs_mj_m2 + change)
    assert (et0_of(sunnier) >= et0_of(weather)).all()


def test_a_process_that_computes_no_et_loads_neither_pandas_nor_xarray_nor_pyet() -> None:
    program = (
        "import sys, service.agronomy.reference_et, service.agronomy.weather_day\n"
        "print(sorted({'pandas', 'xarray', 'pyet'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=True,
        timeout=PATIENCE_S,
    )
    assert done.stdout.strip() == "[]"


def column(*values: float) -> NDArray[np.float64]:
    return np.array(values, dtype=np.float64)[:, np.newaxis]


def test_a_short_gap_takes_the_mean_of_the_last_seven_computed_days() -> None:
    et0 = column(9.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, math.nan, math.nan, math.nan, 5.5)
    filled, flags = fill_reference_et(et0)
    assert filled[8:11, 0].tolist() == [4.0, 4.0, 4.0]
    assert (flags[8:11] == FieldFlag.FILLED_FROM_RECENT_DAYS).all()
    assert (flags[:8] == 0).all()
    assert flags[11, 0] == 0
    assert filled[11, 0] == 5.5


def test_a_gap_longer_than_allowed_stays_open_from_its_first_day() -> None:
    et0 = column(4.0, math.nan, math.nan, math.nan, math.nan, 4.0)
    filled, flags = fill_reference_et(et0)
    np.testing.assert_array_equal(filled, et0)
    assert (flags[1:5] == FieldFlag.MISSING).all()
    filled, _ = fill_reference_et(et0, max_gap_days=4)
    assert not np.isnan(filled).any()


def test_filled_days_are_never_used_to_fill_others() -> None:
    et0 = column(2.0, 4.0, math.nan, 6.0, math.nan)
    filled, _ = fill_reference_et(et0, window_days=2)
    assert filled[2, 0] == 3.0
    assert filled[4, 0] == 5.0


def test_a_gap_at_the_very_start_stays_open() -> None:
    filled, flags = fill_reference_et(column(math.nan, 4.0))
    assert math.isnan(filled[0, 0])
    assert flags[0, 0] == FieldFlag.MISSING


def test_days_older_than_a_fortnight_do_not_fill_today() -> None:
    et0 = np.full((20, 1), np.nan)
    et0[0], et0[16], et0[18] = 9.0, 2.0, 3.0
    filled, _ = fill_reference_et(et0)
    assert filled[17, 0] == 2.0
    assert filled[19, 0] == 2.5


def test_an_impossible_et_is_treated_as_a_gap() -> None:
    filled, flags = fill_reference_et(column(4.0, 15.1, 5.0, -0.1))
    assert filled[:, 0].tolist() == [4.0, 4.0, 5.0, 4.5]
    expected = FieldFlag.OUT_OF_RANGE | FieldFlag.FILLED_FROM_RECENT_DAYS
    assert flags[:, 0].tolist() == [0, expected, 0, expected]


@given(
    arrays(np.float64, (12, 3), elements=st.floats(0.0, 12.0) | st.just(math.nan)),
    st.integers(1, 5),
)
def test_filling_keeps_computed_days_stays_within_them_and_ignores_the_neighbours(
    et0: NDArray[np.float64], max_gap_days: int
) -> None:
    filled, flags = fill_reference_et(et0, max_gap_days=max_gap_days)
    known = ~np.isnan(et0)
    np.testing.assert_array_equal(filled[known], et0[known])
    was_filled = (flags & FieldFlag.FILLED_FROM_RECENT_DAYS) != 0
    np.testing.assert_array_equal(was_filled, ~known & ~np.isnan(filled))
    if was_filled.any():
        assert np.nanmin(et0) - 1e-9 <= filled[was_filled].min()
        assert filled[was_filled].max() <= np.nanmax(et0) + 1e-9
    for site in range(3):
        alone, _ = fill_reference_et(et0[:, [site]], max_gap_days=max_gap_days)
        np.testing.assert_array_equal(alone, filled[:, [site]])


def test_hargreaves_is_missing_where_an_input_is_and_never_negative() -> None:
    assert math.isnan(float(hargreaves_et_mm(math.nan, 10.0, 30.0)))
    assert float(hargreaves_et_mm(-25.0, -35.0, 10.0)) == 0.0


def test_a_clear_sky_lets_three_quarters_through_at_the_sea_and_more_on_a_mountain() -> None:
    days = np.array(["2023-07-06"], "M8[D]")
    above = extraterrestrial_radiation_mj_m2(days, [36.0, 36.0])
    clear = clear_sky_radiation_mj_m2(days, [36.0, 36.0], [0.0, 2500.0])
    np.testing.assert_allclose(clear / above, [[0.75, 0.80]], rtol=1e-12)
