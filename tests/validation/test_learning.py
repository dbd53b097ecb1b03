"""Learning from soil readings on invented blocks whose truth is known, under real weather.

Simulation-based calibration: Talts et al. 2018, arXiv:1804.06788: over truths drawn from the prior
the rank of the truth among the weighted points is uniform. The table of what can be learned and the
gain of a next season are held against a calculation made apart from this program, with other draws.
Figures: the validation record.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from service.agronomy.learned_multipliers import (
    LearnedPoints,
    depletion_points_mm,
    summarize,
    weighted_quantiles,
)
from service.agronomy.learning_ledger import point_fractions
from service.agronomy.learning_points import standard_scores
from service.agronomy.records import Floats
from tests.validation.learning_seasons import (
    DAYS,
    SOIL,
    SPREADS,
    TAW_MM,
    Seasons,
    invent,
    learn,
    terms_of,
)

BLOCKS = 300
LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True, slots=True)
class Learned:
    """What came of many blocks, arrays (blocks, 4): k, c, r and the offset."""

    points: list[LearnedPoints]
    mean: Floats
    rank: Floats
    is_in_half: Floats
    is_in_nine_tenths: Floats

    def errors(self, seasons: Seasons) -> Floats:
        """Root mean square over the blocks, (4,)."""
        return np.asarray(np.sqrt(np.mean((self.mean - seasons.truth) ** 2, axis=0)))


def four_columns(points: LearnedPoints) -> Floats:
    """ln k, ln c, ln r and the offset of the one sensor at each point."""
    score = np.resize(standard_scores()[:, 3], points.weight.size)
    found = points.agreement
    offset = found.offset_mean[:, 0] + np.sqrt(found.offset_covariance[0, 0]) * score
    return np.column_stack((points.log_points, offset))


def learned_of(seasons: Seasons, *, student_degrees: float | None = None) -> Learned:
    rows = []
    kept = []
    for block, truth in enumerate(seasons.truth):
        points = learn(seasons, block, student_degrees=student_degrees)
        columns, weight = four_columns(points), points.weight
        mean = weight @ columns
        quantile = np.array([weighted_quantiles(column, weight, LEVELS) for column in columns.T])
        rows.append(
            (
                mean,
                weight @ (columns < truth),
                (quantile[:, 1] <= truth) & (truth <= quantile[:, 3]),
                (quantile[:, 0] <= truth) & (truth <= quantile[:, 4]),
            )
        )
        kept.append(points)
    stacked = [np.array(column, dtype=np.float64) for column in zip(*rows, strict=True)]
    return Learned(kept, *stacked)


@cache
def usual() -> tuple[Seasons, Learned]:
    """Readings every third day on average, with a meter."""
    seasons = invent(BLOCKS)
    return seasons, learned_of(seasons)


def test_over_300_truths_ranks_are_uniform_and_intervals_hold_what_they_say() -> None:
    _, learned = usual()
    for column in range(4):
        counts = np.histogram(learned.rank[:, column], 10, (0.0, 1.0))[0]
        # Chi-squared of 9 degrees of freedom passes 21.7 once in a hundred.
        assert np.sum((counts - BLOCKS / 10) ** 2 / (BLOCKS / 10)) < 21.7
    assert np.all(np.abs(learned.is_in_half.mean(axis=0) - 0.5) <= 0.07)
    assert np.all(np.abs(learned.is_in_nine_tenths.mean(axis=0) - 0.9) <= 0.04)


APART = {
    "readings every 3 days, meter": (0.099, 0.185, 0.028),
    "readings every 3 days": (0.107, 0.191, 0.073),
    "readings every 7 days, meter": (0.111, 0.228, 0.028),
    "readings every day, meter": (0.089, 0.144, 0.028),
    "meter": (0.173, 0.300, 0.027),
}
"""Root mean square errors of ln k, ln c, ln r as calculated apart."""
KINDS = {
    "readings every 3 days": (3.0, False),
    "readings every 7 days, meter": (7.0, True),
    "readings every day, meter": (1.0, True),
    "meter": (0.0, True),
}


@pytest.mark.parametrize("kind", APART)
def test_what_can_be_learned_is_what_a_calculation_apart_found(kind: str) -> None:
    if kind in KINDS:
        every_days, is_metered = KINDS[kind]
        seasons = invent(90, every_days=every_days, is_metered=is_metered)
        learned = learned_of(seasons)
    else:
        seasons, learned = usual()
    errors = learned.errors(seasons)[:3]
    prior = np.sqrt(np.mean(seasons.truth[:, :3] ** 2, axis=0))
    # Blocks differ: errors are compared as shares of what was unknown before.
    share = errors / prior * SPREADS[:3]
    assert share == pytest.approx(np.array(APART[kind]), abs=0.02)


def test_single_readings_far_out_change_little_and_cost_nothing_without_them() -> None:
    seasons = invent(40)
    clean = learned_of(seasons, student_degrees=4.0)
    assert np.all(clean.is_in_nine_tenths.mean(axis=0) >= 0.83)
    assert clean.errors(seasons)[0] <= usual_errors(seasons)[0] + 0.01

    spoiled = invent(40)
    for water in spoiled.water:
        water[np.flatnonzero(np.isfinite(water))[5::12]] += 0.12
    bent = usual_errors(spoiled)
    straight = learned_of(spoiled, student_degrees=4.0).errors(spoiled)
    assert straight[0] < bent[0]
    assert straight[1] < bent[1]
    assert straight[0] < clean.errors(seasons)[0] + 0.02


def usual_errors(seasons: Seasons) -> Floats:
    return learned_of(seasons).errors(seasons)


def test_bands_of_the_depletion_hold_nine_tenths_of_the_truths() -> None:
    seasons, learned = usual()
    inside, width, error = [], [], []
    for block, points in enumerate(learned.points):
        depletion = depletion_points_mm(points, DAYS, taw_mm=TAW_MM, soil=SOIL)
        low, middle, high = weighted_quantiles(depletion, points.weight, (0.05, 0.5, 0.95))
        truth = seasons.depletion_mm[block, -1]
        inside.append(low <= truth <= high)
        width.append(high - low)
        error.append(middle - truth)
    nominal = seasons.nominal_mm[:, -1] - seasons.depletion_mm[:, -1]
    assert 0.90 <= np.mean(inside) <= 0.99
    assert np.mean(width) < 7.0
    assert np.sqrt(np.mean(np.square(error))) < 0.5 * np.sqrt(np.mean(nominal**2))


def test_without_readings_the_band_is_that_of_the_spreads_beforehand() -> None:
    seasons = invent(80, every_days=0.0, is_metered=False)
    inside = []
    for block in range(80):
        points = learn(seasons, block)
        depletion = depletion_points_mm(points, DAYS, taw_mm=TAW_MM, soil=SOIL)
        low, high = weighted_quantiles(depletion, points.weight, (0.05, 0.95))
        inside.append(low <= seasons.depletion_mm[block, -1] <= high)
    assert 0.85 <= np.mean(inside) <= 0.99


def test_what_was_learned_halves_the_error_of_the_next_season_without_readings() -> None:
    before, learned = usual()
    after = invent(BLOCKS, seed=99, truth=before.truth)
    errors: dict[str, list[Floats]] = {"default": [], "learned": []}
    for block in range(BLOCKS):
        log_points = np.vstack((np.zeros(3), summarize(learned.points[block]).log_mean))
        missing = point_fractions(terms_of(after, block), log_points)[:, 1:].astype(np.float64)
        depletion = missing * TAW_MM * np.exp(log_points[:, 1:2])
        for name, course in zip(errors, depletion, strict=True):
            errors[name].append(course - after.depletion_mm[block])
    default, with_learned = (np.sqrt(np.mean(np.square(each))) for each in errors.values())
    assert with_learned <= 0.55 * default
