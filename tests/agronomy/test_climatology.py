"""Normals of the season: worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.agronomy.climatology import normals_on


def test_the_middle_of_a_month_has_the_mean_of_the_month() -> None:
    means = np.arange(1.0, 13.0)[:, None]
    middle_of_april = np.array(["2026-04-15", "2026-04-16"], "M8[D]")
    assert normals_on(means, middle_of_april).mean() == pytest.approx(4.0)


def test_december_joins_january() -> None:
    means = np.array([1.0] + [5.0] * 10 + [3.0])[:, None]
    turn = np.array(["2025-12-31", "2026-01-01"], "M8[D]")
    before, after = normals_on(means, turn)[:, 0]
    # Half a day before and after the boundary of two months of 31 days: 2.0 plus or minus 1/31.
    assert (before, after) == pytest.approx((2.0 + 1.0 / 31.0, 2.0 - 1.0 / 31.0))


def test_a_site_without_normals_has_none_on_any_day() -> None:
    means = np.stack([np.full(12, np.nan), np.full(12, 2.5)], axis=1)
    values = normals_on(means, np.arange("2026-01-01", "2027-01-01", dtype="M8[D]"))
    assert np.isnan(values[:, 0]).all()
    np.testing.assert_allclose(values[:, 1], 2.5)


@given(st.lists(st.floats(-50, 50), min_size=12, max_size=12), st.integers(0, 1500))
def test_a_day_lies_between_the_lowest_and_the_highest_month(
    means: list[float], ahead: int
) -> None:
    day = np.array(["2024-01-01"], "M8[D]") + ahead
    value = normals_on(np.array(means)[:, None], day)[0, 0]
    assert min(means) - 1e-9 <= value <= max(means) + 1e-9
