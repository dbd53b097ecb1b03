"""How longer gaps of past reference ET close; the lengths are a choice of this service."""

import math

import numpy as np
import pytest

from service.agronomy.reference_et_gaps import bridge_reference_et


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
