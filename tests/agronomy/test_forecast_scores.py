"""Scores of forecasts: against scoringrules, against sums by hand, and what they must not do."""

from __future__ import annotations

import importlib
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from service.agronomy.forecast_scores import (
    CHANCE_EDGES,
    FEWEST_PAIRS,
    crps_mm,
    last_useful_lead_days,
    score_amounts,
    score_chances,
)
from service.agronomy.records import Days, Floats


@pytest.fixture(scope="module")
def scoringrules() -> ModuleType:
    """The reference library, which compiles for seconds when it is imported."""
    return importlib.import_module("scoringrules")


def summer(day_count: int) -> Days:
    return np.datetime64("2026-06-01", "D") + np.arange(day_count)


def rain(day_count: int, seed: int = 3) -> Floats:
    """Rain of a showery climate: nothing on six days of ten."""
    chosen = np.random.default_rng(seed)
    return np.where(chosen.random(day_count) < 0.4, chosen.gamma(0.7, 6.0, day_count), 0.0)


def members(observed: Floats, member_count: int, seed: int = 4) -> Floats:
    chosen = np.random.default_rng(seed)
    spread = chosen.gamma(0.7, 4.0, (observed.size, member_count))
    return np.where(chosen.random(spread.shape) < 0.5, spread, 0.0)


@pytest.mark.parametrize("member_count", [2, 5, 31, 51])
@pytest.mark.parametrize("is_fair", [False, True])
def test_the_score_of_an_ensemble_is_that_of_the_reference_library(
    scoringrules: ModuleType, member_count: int, is_fair: bool
) -> None:
    observed = rain(200)
    issued = members(observed, member_count)
    reference = scoringrules.crps_ensemble(
        observed, issued, estimator="fair" if is_fair else "nrg", backend="numpy"
    )
    assert_allclose(crps_mm(issued, observed, is_fair=is_fair), reference, rtol=0.0, atol=1e-12)


def test_weighted_members_score_as_in_the_reference_library(scoringrules: ModuleType) -> None:
    observed = rain(200)
    issued = members(observed, 20)
    weights = np.random.default_rng(5).random(issued.shape)
    share = weights / weights.sum(axis=1, keepdims=True)
    reference = scoringrules.crps_ensemble(
        observed, issued, ens_w=share, estimator="nrg", backend="numpy"
    )
    found = crps_mm(issued, observed, weights=weights, is_fair=False)
    assert_allclose(found, reference, rtol=0.0, atol=1e-12)
    # Fair with weights: the mean over pairs of different members, written out for one pair.
    one, w = issued[7], share[7]
    apart = np.abs(one[:, None] - one)
    pairs = (w[:, None] * w * apart).sum() / (1.0 - (w**2).sum())
    assert crps_mm(issued, observed, weights=weights)[7] == pytest.approx(
        (w * np.abs(one - observed[7])).sum() - pairs / 2.0, abs=1e-12
    )


def test_members_that_are_not_known_count_for_nothing() -> None:
    observed = rain(50)
    issued = members(observed, 10)
    padded = np.concatenate([issued, np.full((50, 3), np.nan)], axis=1)
    assert_allclose(crps_mm(padded, observed), crps_mm(issued, observed), rtol=0.0, atol=1e-12)
    assert np.isnan(crps_mm(np.full((1, 3), np.nan), np.array([1.0]))).all()


def test_a_single_value_scores_its_absolute_error() -> None:
    assert crps_mm(np.array([[3.0]]), np.array([5.0])).tolist() == [2.0]


def test_the_brier_score_is_that_of_the_reference_library(scoringrules: ModuleType) -> None:
    observed = rain(120)
    chance = np.random.default_rng(6).random(120)
    reference = scoringrules.brier_score(
        (observed >= 0.2).astype(np.float64), chance, backend="numpy"
    )
    found = score_chances(summer(120), chance, observed)
    assert found.brier == pytest.approx(float(np.mean(reference)), abs=1e-12)


def test_the_parts_of_the_brier_score_add_up_where_a_class_has_one_chance() -> None:
    observed = rain(150)
    chance = np.random.default_rng(7).choice([0.1, 0.3, 0.5, 0.7, 0.9], 150)
    found = score_chances(summer(150), chance, observed)
    assert found.brier == pytest.approx(
        found.reliability - found.resolution + found.uncertainty, abs=1e-12
    )
    assert found.class_count.sum() == 150
    assert_allclose(found.class_issued_fraction, [0.1, 0.3, 0.5, 0.7, 0.9])


def test_the_ends_of_the_scale_are_in_the_outer_classes() -> None:
    chance = np.tile([0.0, 1.0], 15)
    found = score_chances(summer(30), chance, np.tile([0.0, 5.0], 15))
    assert found.class_count.tolist() == [15, 0, 0, 0, 15]
    assert (found.brier, found.right_fraction, found.skill_ratio) == (0.0, 1.0, 1.0)
    assert len(CHANCE_EDGES) == found.class_count.size + 1


def test_a_perfect_forecast_has_skill_one_and_the_season_itself_about_none() -> None:
    observed = rain(120)
    perfect = score_amounts(summer(120), observed, observed)
    assert (perfect.bias_mm, perfect.mae_mm, perfect.skill_ratio) == (0.0, 0.0, 1.0)
    # Always issuing other days of the same climate is what the season does.
    same = np.stack([rain(120, seed) for seed in range(20, 80)], axis=1)
    found = score_amounts(summer(120), same.mean(axis=1), observed, members_mm=same)
    assert found.skill_ratio == pytest.approx(0.0, abs=0.06)


def test_bias_and_error_are_means_over_the_pairs() -> None:
    observed = np.tile([0.0, 4.0], 20)
    found = score_amounts(summer(40), np.full(40, 3.0), observed)
    assert (found.bias_mm, found.mae_mm, found.crps_mm) == (1.0, 2.0, 2.0)


def test_days_of_another_season_are_no_climatology() -> None:
    # A wet winter and a dry summer: held against the whole year, always saying "dry" in summer
    # would look skilful.
    days = np.datetime64("2026-01-01", "D") + np.arange(240)
    is_winter = days < np.datetime64("2026-03-01")
    observed = np.where(is_winter, 10.0, 0.0)
    found = score_amounts(days[~is_winter][60:], np.zeros(121), observed[~is_winter][60:])
    assert np.isnan(found.skill_ratio) and found.climatology_crps_mm == 0.0


@pytest.mark.parametrize(("pair_count", "is_scored"), [(FEWEST_PAIRS - 1, False), (30, True)])
def test_scores_are_given_from_thirty_pairs_on(pair_count: int, is_scored: bool) -> None:
    observed = np.concatenate([rain(pair_count), [np.nan] * 10])
    days = summer(observed.size)
    amounts = score_amounts(days, np.full(observed.size, 1.0), observed)
    chances = score_chances(days, np.full(observed.size, 0.4), observed)
    assert amounts.pair_count == chances.pair_count == pair_count
    assert np.isfinite([amounts.mae_mm, amounts.bias_mm, chances.brier]).all() == is_scored


def test_the_band_of_calibrated_members_covers_as_much_as_it_says() -> None:
    chosen = np.random.default_rng(8)
    observed = chosen.normal(5.0, 1.0, 400)
    z = 1.2815515655446004  # of 10 and 90 % in a normal distribution
    band = (np.full(400, 5.0 - z), np.full(400, 5.0 + z))
    found = score_amounts(summer(400), np.full(400, 5.0), observed, band_mm=band)
    assert found.band_count == 400
    assert found.coverage_fraction == pytest.approx(0.8, abs=3.0 * np.sqrt(0.16 / 400))


def test_too_few_bands_are_no_coverage() -> None:
    observed, low = rain(60), np.full(60, np.nan)
    low[:29] = 0.0
    found = score_amounts(summer(60), observed, observed, band_mm=(low, low + 9.0))
    assert np.isnan(found.coverage_fraction) and found.band_count == 29


@pytest.mark.parametrize(
    ("skill", "expected"),
    [((0.3, 0.1, -0.1, 0.2), 2), ((-0.1, 0.3), 0), ((np.nan, 0.4), 0), ((0.5, 0.4, 0.1), 3)],
)
def test_a_forecast_is_useful_up_to_the_first_day_without_skill(
    skill: tuple[float, ...], expected: int
) -> None:
    leads: Any = np.arange(1, len(skill) + 1)
    assert last_useful_lead_days(leads, np.array(skill)) == expected
    assert last_useful_lead_days(leads + 1, np.array(skill)) == 0
