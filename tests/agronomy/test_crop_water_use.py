"""The crop coefficient: seasons, climate, canopy, mulch, own tables and degree days."""

from __future__ import annotations

import datetime
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.canopy_density import density_coefficient
from service.agronomy.crop_table import find_crop
from service.agronomy.crop_water_use import (
    climate_term,
    crop_coefficient,
    day_of_plain_year,
    degree_day_step_c,
    degree_day_sums,
    height_factor,
    trailing_climate_term,
)
from service.agronomy.records import CropBatch, Days, Floats


def full(count: int, value: float) -> Floats:
    return np.full(count, float(value))


def make_crop(count: int = 1, **changes: Any) -> CropBatch:
    """A full-grown berry block of 20/40/60/80-day stages from 1 April, no mulch."""
    row = find_crop("blueberry")
    kd = density_coefficient(row.reference_cover_fraction, row.reference_height_m, ml=1.5)
    crop = CropBatch(
        kc_initial=full(count, row.kc_initial),
        kc_mid=full(count, row.kc_mid),
        kc_end=full(count, row.kc_end),
        kc_off_season=full(count, row.kc_off_season),
        table_height_m=full(count, row.height_m),
        reference_canopy_ratio=full(count, float(kd)),
        canopy_density_factor=full(count, 1.5),
        canopy_cover_fraction=full(count, 0.6),
        canopy_height_m=full(count, 1.5),
        mulch_cover_fraction=full(count, 0.0),
        mulch_kc_initial=full(count, 0.1),
        mulch_kc_reduction_fraction=full(count, 0.15),
        depletion_fraction=full(count, row.depletion_fraction),
        curve_basis=np.zeros(count, dtype=np.int64),
        season_start_doy=np.full(count, 91, dtype=np.int64),
        stage_knot=np.tile([20.0, 60.0, 120.0, 200.0], (count, 1)),
        degree_day_floor_c=full(count, np.nan),
        kc_table_doy=np.full((count, 4), np.nan),
        kc_table_value=np.full((count, 4), np.nan),
        ground_kc=full(count, row.ground_kc),
    )
    return replace(crop, **changes)


def days_from(first: str | datetime.date, count: int) -> Days:
    return np.datetime64(first, "D") + np.arange(count)


def kc_of(
    crop: CropBatch,
    first: str | datetime.date,
    count: int = 1,
    *,
    term: float = 0.0,
    degree_day_sum_c_day: Floats | None = None,
) -> Floats:
    shape = (count, crop.kc_mid.size)
    return crop_coefficient(
        crop,
        days=days_from(first, count),
        climate_term=np.full(shape, term),
        degree_day_sum_c_day=degree_day_sum_c_day,
    )


def test_climate_inputs_beyond_the_limits_count_as_the_limits() -> None:
    assert climate_term(0.2, 95.0) == climate_term(1.0, 80.0)
    assert climate_term(9.0, 5.0) == climate_term(6.0, 20.0)
    assert height_factor(25.0) == height_factor(10.0)
    assert height_factor(0.01) == height_factor(0.1)


def test_the_table_climate_changes_nothing() -> None:
    assert climate_term(2.0, 45.0) == 0.0


def test_trailing_term_uses_only_the_days_before() -> None:
    wind = np.full((40, 1), 2.0)
    humidity = np.full((40, 1), 45.0)
    wind[39] = 6.0
    term, *_ = trailing_climate_term(wind, humidity)
    assert term[39, 0] == 0.0


def test_trailing_term_is_that_of_the_means_of_its_window() -> None:
    generator = np.random.default_rng(4)
    wind = generator.uniform(0.5, 7.0, (60, 2))
    humidity = generator.uniform(10.0, 95.0, (60, 2))
    term, mean_wind, mean_humidity = trailing_climate_term(wind, humidity)
    expected = climate_term(wind[15:45].mean(axis=0), humidity[15:45].mean(axis=0))
    np.testing.assert_allclose(term[45], expected, atol=1e-12)
    np.testing.assert_allclose(mean_wind[45], wind[15:45].mean(axis=0), atol=1e-12)
    np.testing.assert_allclose(mean_humidity[45], humidity[15:45].mean(axis=0), atol=1e-12)


def test_trailing_term_skips_days_on_which_either_value_is_unknown() -> None:
    wind = np.full((20, 1), 3.0)
    humidity = np.full((20, 1), 20.0)
    wind[5], humidity[7] = np.nan, np.nan
    term, mean_wind, _ = trailing_climate_term(wind, humidity, window_days=10)
    np.testing.assert_allclose(term[12:, 0], 0.14)
    assert np.isfinite(mean_wind[9, 0])  # days 0 to 8 but two are known, just enough
    assert np.isfinite(term).all()


def test_trailing_term_falls_back_to_no_adjustment_where_too_few_days_are_known() -> None:
    wind = np.full((20, 1), np.nan)
    wind[:6] = 5.0
    term, mean_wind, mean_humidity = trailing_climate_term(wind, np.full((20, 1), 20.0))
    assert np.isnan(mean_wind).all()
    assert np.isnan(mean_humidity).all()
    assert (term == 0.0).all()


@given(known=st.integers(0, 80), more=st.integers(0, 40), seed=st.integers(0, 999))
def test_past_days_never_change_when_later_days_arrive(known: int, more: int, seed: int) -> None:
    generator = np.random.default_rng(seed)
    wind = generator.uniform(0.0, 8.0, (known + more, 3))
    humidity = generator.uniform(0.0, 100.0, (known + more, 3))
    wind[generator.random(wind.shape) < 0.2] = np.nan
    whole = trailing_climate_term(wind, humidity)
    part = trailing_climate_term(wind[:known], humidity[:known])
    for of_all, of_some in zip(whole, part, strict=True):
        np.testing.assert_array_equal(of_all[:known], of_some)


def test_a_longer_history_gives_the_same_bits() -> None:
    generator = np.random.default_rng(7)
    wind = generator.uniform(0.0, 8.0, (120, 1))
    humidity = generator.uniform(0.0, 100.0, (120, 1))
    whole, *_ = trailing_climate_term(wind, humidity)
    late, *_ = trailing_climate_term(wind[50:], humidity[50:])
    np.testing.assert_array_equal(whole[80:], late[30:])


def test_season_starts_on_its_start_date_and_ends_after_its_last_stage() -> None:
    kc = kc_of(make_crop(), "2025-03-31", 202)[:, 0]
    assert kc[0] == 0.20  # 31 March
    assert kc[1] == 0.30  # 1 April, day 1
    assert kc[20] == 0.30  # day 20, end of the initial stage
    assert kc[40] == pytest.approx((0.30 + 1.05) / 2)  # half way up
    assert kc[60] == pytest.approx(1.05)
    assert kc[120] == pytest.approx(1.05)
    assert kc[160] == pytest.approx((1.05 + 0.50) / 2)  # half way down
    assert kc[200] == pytest.approx(0.50)  # day 200, end of the late stage
    assert kc[201] == 0.20


def test_a_southern_season_runs_over_new_year() -> None:
    crop = make_crop(season_start_doy=np.array([274]))  # 1 October
    kc = kc_of(crop, "2024-09-30", 202)[:, 0]
    assert (kc[0], kc[1]) == (0.20, 0.30)
    assert kc[40] == pytest.approx((0.30 + 1.05) / 2)
    assert kc[200] == pytest.approx(0.50)  # 18 April of the next year
    assert kc[201] == 0.20


@pytest.mark.parametrize("year", [2023, 2024])
def test_the_season_starts_on_the_same_date_in_every_year(year: int) -> None:
    for doy, date in ((59, "02-28"), (60, "03-01"), (91, "04-01"), (365, "12-31")):
        crop = make_crop(season_start_doy=np.array([doy]))
        start = np.datetime64(f"{year}-{date}", "D")
        kc = kc_of(crop, str(start - 1), 2)[:, 0]
        assert kc.tolist() == [0.20, 0.30], date


def test_a_leap_day_counts_as_a_real_day_of_the_season() -> None:
    crop = make_crop(season_start_doy=np.array([32]))  # 1 February
    in_2023 = kc_of(crop, "2023-02-01", 200)
    in_2024 = kc_of(crop, "2024-02-01", 200)
    np.testing.assert_array_equal(in_2023, in_2024)
    # The 30th day of the season: 2 March in 2023, 1 March in 2024.
    assert kc_of(crop, "2023-03-02")[0, 0] == kc_of(crop, "2024-03-01")[0, 0] > 0.30


def test_a_curve_that_fills_the_year_has_no_off_season_in_a_leap_year_either() -> None:
    crop = make_crop(
        season_start_doy=np.array([1]), stage_knot=np.array([[60.0, 150.0, 270.0, 365.0]])
    )
    kc = kc_of(crop, "2024-12-30", 4)[:, 0]
    np.testing.assert_allclose(kc, [0.50, 0.50, 0.30, 0.30], atol=0.006)


def test_stages_of_no_length_are_steps() -> None:
    crop = make_crop(stage_knot=np.array([[20.0, 20.0, 120.0, 120.0]]))
    kc = kc_of(crop, "2025-04-01", 122)[:, 0]
    assert kc[19] == 0.30
    assert kc[20] == pytest.approx(1.05)
    assert kc[119] == pytest.approx(1.05)
    assert kc[120] == 0.20


def test_climate_moves_the_middle_and_a_high_end_but_not_the_start() -> None:
    kc = kc_of(make_crop(), "2025-04-01", 201, term=0.14)[:, 0]
    added = 0.14 * 0.5**0.3
    assert kc[0] == 0.30
    assert kc[100] == pytest.approx(1.05 + added)
    assert kc[199] == pytest.approx(0.50 + added)
    assert kc[200] == 0.20


def test_climate_does_not_move_an_end_below_045() -> None:
    kc = kc_of(make_crop(kc_end=np.array([0.40])), "2025-10-17", 1, term=0.14)
    assert kc[0, 0] == pytest.approx(0.40)


def test_a_small_canopy_brings_kc_towards_that_of_bare_soil_in_season_only() -> None:
    crop = make_crop(canopy_cover_fraction=np.array([0.16]), canopy_height_m=np.array([0.5]))
    share = density_coefficient(0.16, 0.5, ml=1.5) / density_coefficient(0.6, 1.5, ml=1.5)
    kc = kc_of(crop, "2025-07-01")[0, 0]
    assert kc == pytest.approx(0.15 + share * (1.05 - 0.15))
    assert kc_of(crop, "2025-12-01")[0, 0] == 0.20


def test_a_canopy_larger_than_the_reference_adds_nothing() -> None:
    crop = make_crop(canopy_cover_fraction=np.array([0.95]), canopy_height_m=np.array([2.5]))
    assert kc_of(crop, "2025-07-01")[0, 0] == pytest.approx(1.05)


def test_a_dense_stand_of_vines_uses_the_water_of_the_reference_and_no_more() -> None:
    # Without the bound Kc mid would be 0.15 + 0.903 / 0.675 x (0.70 - 0.15) = 0.89, by hand.
    kc_mid = {}
    for cover, height in ((0.45, 1.75), (0.70, 2.5)):
        vines = make_crop(
            kc_mid=np.array([0.70]),
            canopy_cover_fraction=np.array([cover]),
            canopy_height_m=np.array([height]),
            reference_canopy_ratio=density_coefficient(0.45, 1.75, ml=[1.5]),
        )
        kc_mid[cover] = kc_of(vines, "2025-07-01").item()
    assert kc_mid[0.70] == kc_mid[0.45] == pytest.approx(0.70)
    uncapped = density_coefficient(0.70, 2.5, ml=1.5) / density_coefficient(0.45, 1.75, ml=1.5)
    assert 0.15 + uncapped * 0.55 == pytest.approx(0.89, abs=0.005)


def test_no_canopy_leaves_bare_soil_and_never_raises_a_lower_kc() -> None:
    crop = make_crop(canopy_cover_fraction=np.zeros(1), kc_initial=np.array([0.10]))
    assert kc_of(crop, "2025-04-05")[0, 0] == pytest.approx(0.10)
    assert kc_of(crop, "2025-07-01")[0, 0] == pytest.approx(0.15)


def test_film_takes_most_off_bare_ground_and_nothing_off_season() -> None:
    # FAO-56 p. 196 and Ex. 45: Kc ini 0.10; 15 % off Kc mid and Kc end.
    crop = make_crop(mulch_cover_fraction=np.ones(1))
    assert kc_of(crop, "2025-04-05")[0, 0] == pytest.approx(0.10)
    assert kc_of(crop, "2025-07-01")[0, 0] == pytest.approx(0.85 * 1.05)
    assert kc_of(crop, "2025-10-17")[0, 0] == pytest.approx(0.85 * 0.50)
    assert kc_of(crop, "2025-12-01")[0, 0] == 0.20


def test_half_a_mulch_takes_half_as_much() -> None:
    # FAO-56 p. 196: less "in proportion to the fraction of wet surface covered by the mulch".
    crop = make_crop(mulch_cover_fraction=np.array([0.5]))
    assert kc_of(crop, "2025-04-05")[0, 0] == pytest.approx(0.20)
    assert kc_of(crop, "2025-07-01")[0, 0] == pytest.approx(0.925 * 1.05)


def test_no_canopy_under_film_leaves_what_the_film_lets_out() -> None:
    crop = make_crop(mulch_cover_fraction=np.ones(1), canopy_cover_fraction=np.zeros(1))
    assert kc_of(crop, "2025-04-05")[0, 0] == pytest.approx(0.10)
    assert kc_of(crop, "2025-07-01")[0, 0] == pytest.approx(0.10)


def test_a_denser_way_to_close_raises_a_small_canopy_alone() -> None:
    small: dict[str, Any] = {
        "canopy_cover_fraction": np.array([0.25]),
        "canopy_height_m": np.array([4.0]),
    }
    kc = [
        kc_of(make_crop(**small, canopy_density_factor=np.array([ml])), "2025-07-01")[0, 0]
        for ml in (1.5, 2.0)
    ]
    # Kd 0.375 and 0.5 over 0.815; Kc 0.15 + that x 0.90.
    assert kc == pytest.approx([0.15 + 0.9 * 0.375 / 0.815193, 0.15 + 0.9 * 0.5 / 0.815193])


def own_table(*points: tuple[int, float], count: int = 4) -> dict[str, Any]:
    doy = np.full((1, count), np.nan)
    value = np.full((1, count), np.nan)
    for place, (day, kc) in enumerate(points):
        doy[0, place], value[0, place] = day, kc
    return {"curve_basis": np.array([2]), "kc_table_doy": doy, "kc_table_value": value}


def test_an_own_table_replaces_climate_canopy_mulch_and_stages() -> None:
    crop = make_crop(
        **own_table((100, 0.4), (200, 1.0)),
        canopy_cover_fraction=np.array([0.1]),
        mulch_cover_fraction=np.ones(1),
        stage_knot=np.full((1, 4), np.nan),
    )
    assert kc_of(crop, "2025-05-30", term=np.nan)[0, 0] == pytest.approx(0.7)  # day 150


def test_an_own_table_runs_on_over_new_year() -> None:
    crop = make_crop(**own_table((65, 0.4), (265, 1.0)))
    kc = kc_of(crop, "2025-01-01", 365)[:, 0]
    assert kc[64] == pytest.approx(0.4)
    assert kc[264] == pytest.approx(1.0)
    # 265 to 430 (65 of the next year): 0.6 lost over 165 days.
    assert kc[364] == pytest.approx(1.0 - 0.6 * 100 / 165)
    assert kc[0] == pytest.approx(1.0 - 0.6 * 101 / 165)


def test_an_own_table_of_one_point_is_constant() -> None:
    kc = kc_of(make_crop(**own_table((150, 0.65))), "2024-01-01", 366)
    np.testing.assert_allclose(kc, 0.65)


def test_own_tables_of_different_length_do_not_touch_each_other() -> None:
    long = make_crop(**own_table((50, 0.3), (120, 0.9), (200, 1.1), (300, 0.4)))
    short = make_crop(**own_table((100, 0.4), (200, 1.0)))
    both = join(long, short)
    kc = kc_of(both, "2024-01-01", 366)
    np.testing.assert_array_equal(kc[:, 0], kc_of(long, "2024-01-01", 366)[:, 0])
    np.testing.assert_array_equal(kc[:, 1], kc_of(short, "2024-01-01", 366)[:, 0])


def join(*crops: CropBatch) -> CropBatch:
    return CropBatch(
        **{
            part.name: np.concatenate([getattr(crop, part.name) for crop in crops])
            for part in fields(CropBatch)
        }
    )


def test_degree_days_follow_the_block_s_own_thresholds() -> None:
    crop = make_crop(
        curve_basis=np.array([1]),
        stage_knot=np.array([[100.0, 400.0, 1200.0, 1800.0]]),
        degree_day_floor_c=np.array([7.0]),
    )
    sums = np.array([[100.0], [250.0], [800.0], [1500.0], [1801.0]])
    kc = kc_of(crop, "2025-05-01", 5, degree_day_sum_c_day=sums)[:, 0]
    np.testing.assert_allclose(kc, [0.30, 0.675, 1.05, 0.775, 0.20])


def test_a_degree_day_curve_without_sums_is_an_error_not_a_guess() -> None:
    with pytest.raises(ValueError, match="degree_day_sum_c_day is needed"):
        kc_of(make_crop(curve_basis=np.array([1])), "2025-05-01")


def test_an_unknown_degree_day_sum_makes_only_its_own_block_unknown() -> None:
    crop = join(make_crop(curve_basis=np.array([1])), make_crop())
    kc = kc_of(crop, "2025-07-01", 1, degree_day_sum_c_day=np.full((1, 2), np.nan))
    assert np.isnan(kc[0, 0])
    assert kc[0, 1] == pytest.approx(1.05)


def test_an_unknown_climate_makes_only_the_days_unknown_that_need_it() -> None:
    kc = kc_of(make_crop(), "2025-03-31", 100, term=np.nan)[:, 0]
    assert np.isfinite(kc[:21]).all()
    assert np.isnan(kc[21:]).all()


def test_days_colder_than_the_floor_add_nothing() -> None:
    assert degree_day_step_c(12.0, 4.0, 10.0) == 0.0
    assert degree_day_step_c(20.0, 4.0, 10.0) == 2.0


def test_degree_day_sums_restart_on_the_season_start_and_carry_on_from_a_stored_sum() -> None:
    crop = make_crop(curve_basis=np.array([1]), degree_day_floor_c=np.array([10.0]))
    days = days_from("2025-03-30", 4)
    tmax, tmin = np.full((4, 1), 20.0), np.full((4, 1), 10.0)
    sums = degree_day_sums(
        crop, days=days, tmax_c=tmax, tmin_c=tmin, degree_day_start_c_day=np.array([90.0])
    )
    assert sums[:, 0].tolist() == [95.0, 100.0, 5.0, 10.0]


def test_degree_day_sums_are_the_same_in_one_run_or_two() -> None:
    crop = make_crop(curve_basis=np.array([1]), degree_day_floor_c=np.array([7.0]))
    days = days_from("2025-03-01", 90)
    generator = np.random.default_rng(3)
    tmin = generator.uniform(0.0, 12.0, (90, 1))
    tmax = tmin + generator.uniform(2.0, 15.0, (90, 1))
    whole = degree_day_sums(crop, days=days, tmax_c=tmax, tmin_c=tmin)
    first = degree_day_sums(crop, days=days[:50], tmax_c=tmax[:50], tmin_c=tmin[:50])
    second = degree_day_sums(
        crop, days=days[50:], tmax_c=tmax[50:], tmin_c=tmin[50:], degree_day_start_c_day=first[-1]
    )
    np.testing.assert_array_equal(whole, np.concatenate((first, second)))


def test_a_day_of_unknown_temperature_leaves_the_sum_unknown_until_the_restart() -> None:
    crop = make_crop(curve_basis=np.array([1]), degree_day_floor_c=np.array([0.0]))
    tmax = np.full((4, 1), 10.0)
    tmax[0] = np.nan
    sums = degree_day_sums(
        crop, days=days_from("2025-03-30", 4), tmax_c=tmax, tmin_c=np.full((4, 1), 10.0)
    )
    np.testing.assert_array_equal(sums[:, 0], [np.nan, np.nan, 10.0, 20.0])


def test_the_plain_year_has_365_days_in_leap_years_too() -> None:
    doy = day_of_plain_year(days_from("2024-01-01", 366))
    assert doy[[0, 58, 59, 60, 365]].tolist() == [1, 59, 59, 60, 365]
    assert day_of_plain_year(days_from("2023-01-01", 365)).tolist() == list(range(1, 366))


block_numbers = st.fixed_dictionaries(
    {
        "kc_initial": st.floats(0.1, 1.0),
        "kc_mid": st.floats(0.3, 1.3),
        "kc_end": st.floats(0.2, 1.1),
        "canopy_cover_fraction": st.floats(0.0, 1.0),
        "canopy_height_m": st.floats(0.2, 6.0),
        "mulch_cover_fraction": st.floats(0.0, 1.0),
        "season_start_doy": st.integers(1, 365),
    }
)
stage_knots = st.lists(st.floats(1.0, 120.0), min_size=4, max_size=4).map(np.cumsum)


@given(
    blocks=st.lists(st.tuples(block_numbers, stage_knots), min_size=1, max_size=5),
    first=st.dates(datetime.date(2019, 1, 1), datetime.date(2028, 12, 31)),
    term=st.floats(-0.2, 0.3),
)
def test_a_batch_gives_what_its_blocks_give_one_by_one(
    blocks: list[tuple[dict[str, float], Floats]], first: datetime.date, term: float
) -> None:
    singles = []
    for numbers, knots in blocks:
        changes: dict[str, Any] = {name: np.array([value]) for name, value in numbers.items()}
        singles.append(make_crop(**changes, stage_knot=knots[np.newaxis]))
    together = kc_of(join(*singles), first, 400, term=term)
    for column, single in enumerate(singles):
        np.testing.assert_array_equal(
            together[:, column], kc_of(single, first, 400, term=term)[:, 0]
        )
    assert np.isfinite(together).all()
    assert (together > 0.0).all()
    assert (together < 1.8).all()


def test_an_end_of_exactly_045_as_that_of_grapes_is_moved() -> None:
    # FAO-56 Eq. 65 holds from 0.45 on.
    kc = kc_of(make_crop(kc_end=np.array([0.45])), "2025-10-17", term=0.14)
    assert kc[0, 0] == pytest.approx(0.45 + 0.14 * 0.5**0.3)
