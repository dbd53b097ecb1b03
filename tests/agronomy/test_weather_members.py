"""Members of a forecast: what they share, and quantiles of their weights."""

import numpy as np
import pytest

from service.agronomy.weather_members import (
    MemberBatch,
    MemberOrigin,
    no_members,
    weighted_quantile,
    weighted_share,
)

DAYS = np.arange("2026-07-01", "2026-07-06", dtype="datetime64[D]")


def test_equal_weights_give_the_kth_smallest() -> None:
    values = np.random.default_rng(3).gamma(0.7, 3.0, (40, 31))
    for share in (0.02, 0.1, 0.5, 0.9, 0.98):
        kth = np.sort(values, axis=1)[:, int(np.ceil(share * 31)) - 1]
        assert weighted_quantile(values, np.full(31, 1 / 31), share) == pytest.approx(kth)


def test_members_without_weight_do_not_count_whatever_their_value() -> None:
    values = np.array([[np.nan, 2.0, -5.0, 4.0], [np.nan, np.nan, np.nan, np.nan]])
    weights = np.array([[0.0, 0.5, 0.0, 0.5], [0.0, 0.0, 0.0, 0.0]])
    assert weighted_quantile(values, weights, 0.0)[0] == 2.0
    assert weighted_quantile(values, weights, 1.0)[0] == 4.0
    assert np.isnan(weighted_quantile(values, weights, 0.5)[1])
    assert np.isnan(weighted_share(values > 0.0, weights)[1])
    assert weighted_share(values > 2.0, weights)[0] == 0.5


def test_two_models_count_alike_whatever_their_numbers() -> None:
    """Thirty dry members of one model and ten wet ones of another: rain is even odds."""
    values = np.concatenate([np.zeros(30), np.full(10, 6.0)])
    weights = np.concatenate([np.full(30, 0.5 / 30), np.full(10, 0.5 / 10)])
    assert weighted_share(values > 0.0, weights) == pytest.approx(0.5)
    assert weighted_quantile(values, weights, 0.5) == 0.0
    assert weighted_quantile(values, weights, 0.51) == 6.0


def test_each_site_may_ask_for_a_share_of_its_own() -> None:
    values = np.tile(np.arange(1.0, 11.0), (3, 1))
    found = weighted_quantile(values, np.ones((3, 10)), np.array([0.1, 0.5, 0.9]))
    assert found.tolist() == [1.0, 5.0, 9.0]


def test_sites_without_members_have_origin_none() -> None:
    batch = no_members(DAYS, 3)
    assert isinstance(batch, MemberBatch)
    assert batch.origin.tolist() == [MemberOrigin.NONE] * 3
    assert batch.count().tolist() == [0, 0, 0]
    assert np.isnan(weighted_quantile(batch.rain_mm[..., 0], batch.weights, 0.5)).all()
