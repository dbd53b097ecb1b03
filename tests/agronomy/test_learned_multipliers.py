"""Weights of a block's multipliers against other ways to the same numbers.

References: scipy's Sobol sequence, normal and multivariate normal distributions; a dense grid; the
closed answer of the linear Gaussian case (Rasmussen & Williams 2006, Eq. 2.11).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm, qmc  # type: ignore[import-untyped]  # with pyet

from service.agronomy.learned_multipliers import (
    LearnedPoints,
    learn_multipliers,
    no_observations,
    summarize,
    weighted_quantiles,
)
from service.agronomy.learning_ledger import LedgerTerms, point_fractions
from service.agronomy.learning_likelihood import SoilObservations, agreement
from service.agronomy.learning_points import (
    MultiplierPrior,
    log_prior_density,
    prior_points,
    standard_scores,
)
from service.agronomy.records import Floats
from service.agronomy.water_balance import PulseTimes, step_days
from tests.validation.learning_seasons import (
    DAYS,
    MODEL_ERROR,
    NOISE,
    OFFSET,
    SOIL,
    TAW_MM,
    at_columns,
    invent,
    learn,
    observed,
    prior_of,
    share_without_stress,
    terms_of,
)

SEASONS = invent(6)


def test_points_are_those_of_sobols_sequence() -> None:
    points = qmc.Sobol(5, scramble=False).random(512)
    expected = norm.ppf(points + 0.5 / 512)
    found = standard_scores()
    order = np.argsort(found[:, 0])
    assert found[order] == pytest.approx(expected[np.argsort(expected[:, 0])], abs=1e-9)


def test_the_point_that_changes_nothing_is_the_ledger() -> None:
    terms = terms_of(SEASONS, 0)
    ledger = ledger_of(terms)
    missing = point_fractions(terms, np.zeros((1, 3)))[0, 1:]
    assert missing * TAW_MM == pytest.approx(ledger, abs=1e-4)


def test_it_is_the_ledger_also_with_pulses_during_the_day() -> None:
    days = 40
    starts = np.tile([420.0, 840.0], days)
    times = PulseTimes(
        offset=np.arange(days + 1) * 2,
        start_min=starts,
        duration_min=np.full(2 * days, 25.0),
        sunrise_min=np.full(days, 360.0),
        sunset_min=np.full(days, 1200.0),
    )
    terms = terms_of(SEASONS, 1)
    cut = replace(
        terms,
        **{
            name: getattr(terms, name)[:days]
            for name in (
                "taw_mm", "table_depletion_fraction", "rain_entering_mm", "crop_et_mm", "zone_et_mm"
            )
        },
        early_net_mm=np.zeros(days),
        day_net_mm=np.full(days, 1.4),
        depletion_start_mm=14.0,
        times=times,
    )  # fmt: skip
    missing = point_fractions(cut, np.zeros((1, 3)))[0, 1:]
    assert missing * TAW_MM == pytest.approx(ledger_of(cut), abs=1e-4)


def ledger_of(terms: LedgerTerms) -> Floats:
    """Depletion at the end of each day by the ledger itself."""
    column = {
        "taw_mm": terms.taw_mm,
        "raw_mm": terms.taw_mm * share_without_stress(terms.crop_et_mm),
        "rain_entering_mm": terms.rain_entering_mm,
        "crop_et_mm": terms.zone_et_mm,
        "early_net_mm": terms.early_net_mm,
        "day_net_mm": terms.day_net_mm,
    }
    ledger = step_days(
        np.array([terms.depletion_start_mm]),
        first_day_index=np.array([0]),
        times=terms.times,
        **{name: values[:, None] for name, values in column.items()},
    )
    return ledger.depletion_end_mm[:, 0]


def test_weights_are_those_of_the_multivariate_normal_distribution() -> None:
    readings = observed(SEASONS.water[0])
    fraction = point_fractions(terms_of(SEASONS, 0), prior_points(prior_of(SEASONS, 0)))
    found = agreement(readings, fraction, field_capacity=0.23, wilting_point=0.11)
    apart = np.abs(readings.column[:, None] - readings.column)
    covariance = MODEL_ERROR**2 * np.exp(-apart / 3.0) + NOISE**2 * np.eye(apart.shape[0])
    covariance += OFFSET**2
    mean = 0.23 - 0.12 * fraction[:, readings.column].astype(np.float64)
    expected = multivariate_normal(np.zeros(apart.shape[0]), covariance).logpdf(
        readings.volumetric_water - mean
    )
    difference = found.log_weight - expected
    assert difference == pytest.approx(np.full(512, difference[0]), abs=1e-8)


def test_512_points_give_what_a_dense_grid_gives() -> None:
    axis = np.linspace(-4.0, 4.0, 41)
    grid = np.stack(np.meshgrid(axis, axis, axis[::5], indexing="ij"), axis=-1).reshape(-1, 3)
    for block in range(2):
        prior, terms = prior_of(SEASONS, block), terms_of(SEASONS, block)
        log_points = prior.log_mean + grid * prior.log_spread
        found = agreement(
            observed(SEASONS.water[block]),
            point_fractions(terms, log_points),
            field_capacity=0.23,
            wilting_point=0.11,
        )
        log_weight = found.log_weight + log_prior_density(prior, log_points)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        mean = weight @ log_points
        spread = np.sqrt(weight @ (log_points - mean) ** 2)
        summary = summarize(learn(SEASONS, block))
        assert summary.log_mean == pytest.approx(mean, abs=0.01)
        assert summary.log_spread == pytest.approx(spread, rel=0.08)


def test_a_straight_line_has_the_closed_answer() -> None:
    """Where the zone neither fills nor dries, theta falls by k ETc and the answer is known."""
    days = 12
    nothing = np.zeros(days)
    terms = LedgerTerms(
        depletion_start_mm=0.0,
        taw_mm=np.full(days, 200.0),
        table_depletion_fraction=np.full(days, 0.8),
        rain_entering_mm=nothing,
        crop_et_mm=np.full(days, 4.0),
        zone_et_mm=np.full(days, 4.0),
        early_net_mm=nothing,
        day_net_mm=nothing,
    )
    prior = MultiplierPrior(np.zeros(3), np.array([0.02, 1e-6, 1e-6]))
    column = np.array([2, 4, 7, 9, 12])
    slope = -SOIL.water_range * 4.0 * column / 200.0
    random = np.random.default_rng(3)
    water = SOIL.field_capacity + slope * 1.015 + 0.004 * random.standard_normal(5)
    readings = at_columns(column, water)
    summary = summarize(learn_multipliers(terms, readings, prior, soil=SOIL))
    apart = np.abs(column[:, None] - column)
    covariance = MODEL_ERROR**2 * np.exp(-apart / 3.0) + NOISE**2 * np.eye(5) + OFFSET**2
    solved = np.linalg.solve(covariance, slope)
    variance = 1.0 / (1.0 / 0.02**2 + slope @ solved)
    mean = variance * (solved @ (water - SOIL.field_capacity - slope))
    # ln k = k - 1 to within half the square of 2 %.
    assert summary.log_mean[0] == pytest.approx(mean, abs=4e-4)
    assert summary.log_spread[0] == pytest.approx(np.sqrt(variance), rel=0.02)


def test_two_sensors_off_to_both_sides_give_what_their_mean_gives() -> None:
    readings = observed(SEASONS.water[2])
    count = readings.column.size
    sensor = np.tile([0, 1], count)
    pair = at_columns(
        np.repeat(readings.column, 2),
        np.repeat(readings.volumetric_water, 2) + np.where(sensor == 0, 0.03, -0.03),
        sensor=sensor,
    )
    pair = replace(pair, noise=pair.noise * np.sqrt(2.0))
    mean = replace(readings, offset_spread=readings.offset_spread / np.sqrt(2.0))
    both = summarize(learned_from(pair)).log_mean
    assert both == pytest.approx(summarize(learned_from(mean)).log_mean, abs=1e-6)


def learned_from(readings: SoilObservations) -> LearnedPoints:
    return learn_multipliers(terms_of(SEASONS, 2), readings, prior_of(SEASONS, 2), soil=SOIL)


def test_more_readings_do_not_widen_what_is_known() -> None:
    spreads = []
    for until in (30, 60, 120, DAYS):
        points = learn(SEASONS, 3, until=until)
        apart = points.log_points - points.weight @ points.log_points
        covariance = (points.weight[:, None] * apart).T @ apart
        spreads.append(0.5 * np.linalg.slogdet(covariance)[1])
    assert np.all(np.diff(spreads) < 0.15)


def test_the_same_numbers_give_the_same_weights_to_the_bit() -> None:
    one, other = learn(SEASONS, 4), learn(SEASONS, 4)
    assert one.weight.tobytes() == other.weight.tobytes()


def test_a_reading_above_field_capacity_says_only_that_the_zone_is_wet() -> None:
    wet = replace(at_columns(np.array([20]), np.array([0.218])), bound=np.array([1]))
    fraction = np.linspace(0.0, 1.0, 5, dtype=np.float32)[:, None] * np.ones(30, np.float32)
    found = agreement(wet, fraction, field_capacity=0.23, wilting_point=0.11)
    theta = 0.23 - 0.12 * fraction[:, 20]
    spread = np.hypot(NOISE, MODEL_ERROR)
    assert found.log_weight == pytest.approx(norm.logcdf((theta - 0.218) / spread), abs=1e-3)


def test_readings_that_nothing_explains_are_told_apart() -> None:
    readings = observed(SEASONS.water[5])
    against = replace(readings, volumetric_water=0.36 - readings.volumetric_water)
    sharp = replace(against, noise=against.noise * 0.1, model_error=against.model_error * 0.05)
    points = learn_multipliers(terms_of(SEASONS, 5), sharp, prior_of(SEASONS, 5), soil=SOIL)
    assert points.weight.size == 1024
    assert not points.is_agreed


def test_strong_readings_draw_a_second_set_that_agrees_with_a_fine_one() -> None:
    readings = observed(SEASONS.water[0])
    sharp = replace(readings, noise=readings.noise * 0.55, model_error=readings.model_error * 0.55)
    prior, terms = prior_of(SEASONS, 0), terms_of(SEASONS, 0)
    points = learn_multipliers(terms, sharp, prior, soil=SOIL)
    axis = np.linspace(-4.0, 4.0, 41)
    grid = np.stack(np.meshgrid(axis, axis, axis[::5], indexing="ij"), axis=-1).reshape(-1, 3)
    log_points = prior.log_mean + grid * prior.log_spread
    found = agreement(
        sharp, point_fractions(terms, log_points), field_capacity=0.23, wilting_point=0.11
    )
    log_weight = found.log_weight + log_prior_density(prior, log_points)
    weight = np.exp(log_weight - log_weight.max())
    assert points.weight.size == 1024
    assert points.is_agreed
    assert summarize(points).log_mean == pytest.approx(
        weight @ log_points / weight.sum(), abs=0.015
    )


def test_without_readings_nothing_is_learned() -> None:
    points = learn_multipliers(
        terms_of(SEASONS, 0), no_observations(), MultiplierPrior.default(), soil=SOIL
    )
    summary = summarize(points)
    assert points.effective_count == pytest.approx(512)
    assert summary.log_spread == pytest.approx(MultiplierPrior.default().log_spread, rel=0.01)


def test_quantiles_are_the_first_values_at_which_the_weights_reach_them() -> None:
    values, weight = np.array([4.0, 1.0, 3.0, 2.0]), np.array([0.1, 0.4, 0.2, 0.3])
    assert weighted_quantiles(values, weight, (0.0, 0.4, 0.41, 0.7, 1.0)).tolist() == [
        1,
        1,
        2,
        2,
        4,
    ]
