"""How longer gaps of past reference ET close; the lengths are a choice of this service."""

import math

import numpy as np
import pytest

from service.agronomy.reference_et_gaps import borrow_reference_et, bridge_reference_et, gaps_of


def column(*values: float) -> np.ndarray:
    return np.array(values)[:, np.newaxis]


@pytest.mark.parametrize(("length", "is_bridged"), [(1, True), (10, True), (11, False)])
def test_gaps_of_up_to_ten_days_take_the_mean_of_both_sides(length: int, is_bridged: bool) -> None:
    et0 = column(9.0, *[3.0] * 7, *[math.nan] * length, *[5.0] * 7, 9.0)
    bridged, where = bridge_reference_et(et0)
    assert where[8 : 8 + length].all() == is_bridged
    assert where.sum() == (length if is_bridged else 0)
    if is_bridged:
        assert set(bridged[8 : 8 + length, 0]) == {4.0}
    known = ~np.isnan(et0)
    np.testing.assert_array_equal(bridged[known], et0[known])


def test_a_gap_up_to_the_last_day_takes_the_days_before_it() -> None:
    bridged, _ = bridge_reference_et(column(2.0, 4.0, *[math.nan] * 5))
    assert bridged[2:, 0].tolist() == [3.0] * 5


def test_a_gap_at_the_very_start_stays_open() -> None:
    _, where = bridge_reference_et(column(math.nan, math.nan, 4.0))
    assert not where.any()


def test_sites_do_not_fill_each_other_and_bridged_days_do_not_fill_others() -> None:
    nan = math.nan
    left = column(2.0, nan, 6.0, nan, 10.0)
    bridged, _ = bridge_reference_et(np.hstack([left, np.full((5, 1), nan)]))
    np.testing.assert_allclose(bridged[:, 0], [2.0, 6.0, 6.0, 6.0, 10.0])
    assert np.isnan(bridged[:, 1]).all()


def test_a_gap_takes_the_neighbours_days_times_the_ratio_of_the_sums() -> None:
    # Ten days of 4 mm against 5: ratio 0.8 by hand.
    site = column(*[4.0] * 5, math.nan, math.nan, *[4.0] * 5)
    near = column(*[5.0] * 5, 7.0, 2.0, *[5.0] * 5)
    found = borrow_reference_et(site, near[:, :, np.newaxis], gap=slice(5, 7))
    np.testing.assert_allclose(found.et0_mm[:, 0], [5.6, 1.6])
    np.testing.assert_allclose(found.neighbour_ratio[:, 0], 0.8)
    assert found.common_days_count[:, 0].tolist() == [10, 10]
    assert found.neighbour[:, 0].tolist() == [0, 0]


def test_days_that_the_nearest_does_not_know_are_those_of_the_next() -> None:
    nan = math.nan
    site = column(*[4.0] * 8, nan, nan, nan)
    nearest, next_one = column(*[4.0] * 8, 3.0, nan, nan), column(*[2.0] * 8, 9.0, 2.5, nan)
    found = borrow_reference_et(site, np.stack([nearest, next_one], axis=2), gap=slice(8, 11))
    np.testing.assert_allclose(found.et0_mm[:, 0], [3.0, 5.0, nan])
    assert found.neighbour[:, 0].tolist() == [0, 1, -1]
    assert np.isnan(found.neighbour_ratio[2, 0])


@pytest.mark.parametrize(("common", "is_borrowed"), [(6, False), (7, True)])
def test_a_neighbour_needs_seven_days_in_common(common: int, is_borrowed: bool) -> None:
    site = column(*[4.0] * 12, math.nan)
    near = column(*[math.nan] * (12 - common), *[5.0] * common, 5.0)
    found = borrow_reference_et(site, near[:, :, np.newaxis], gap=slice(12, 13))
    assert bool(np.isfinite(found.et0_mm[0, 0])) == is_borrowed


def test_only_fifteen_days_on_each_side_are_compared() -> None:
    # Outside them the neighbour had half as much; inside, the same.
    near = column(*[2.0] * 10, *[4.0] * 15, 6.0, *[4.0] * 15, *[2.0] * 10)
    site = column(*[4.0] * 25, math.nan, *[4.0] * 25)
    found = borrow_reference_et(site, near[:, :, np.newaxis], gap=slice(25, 26))
    assert found.neighbour_ratio[0, 0] == 1.0
    assert found.common_days_count[0, 0] == 30


def test_gaps_at_the_very_start_and_longer_ones_are_not_listed() -> None:
    nan = math.nan
    assert gaps_of(column(nan, 4.0, nan, nan, 4.0)) == [(0, 2, 4)]
    assert gaps_of(column(4.0, *[nan] * 11, 4.0)) == []
    assert gaps_of(column(4.0, nan, nan), max_gap_days=1) == []
