"""What a season's readings have taught of a block: its multipliers, and where its depletion is now.

In: the terms of a block's days, its soil readings and what was known before. Out: the points with
their weights, and from them means, spreads, quantiles and the band of the depletion. The points are
weighted, not moved, so that the answer is the same whenever it is asked; only where the readings
leave fewer than 25 of them in force is a second set drawn where those lie, and both are pooled.
Importance sampling with several proposals: Veach & Guibas 1995, the balance heuristic (from
memory). Effective sample size: Kish 1965 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import lgamma, log, pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.agronomy.learning_ledger import LedgerTerms, point_fractions
from service.agronomy.learning_likelihood import (
    MODEL_ERROR,
    MODEL_ERROR_DAYS,
    Agreement,
    SoilObservations,
    agreement,
)
from service.agronomy.learning_points import (
    AVAILABLE_WATER,
    POINT_COUNT,
    MultiplierPrior,
    log_prior_density,
    prior_points,
    standard_scores,
)
from service.agronomy.records import Floats

FEWEST_EFFECTIVE = 25.0  # [CHOICE] effective points below which a second set is drawn
WIDER_NOISE_FACTOR = 1.5  # [CHOICE] tried once where even those are too few
QUANTILE_LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
_STUDENT_DEGREES = 5  # of the second set
_SECOND_COVARIANCE_FACTOR = 1.5  # [CHOICE]
_LEAST_SECOND_SHARE = 0.1  # [CHOICE] least spread of the second set, as a share of the prior's
_DIMENSIONS = 3
_MODEL_SCORE = 4
"""Column of the standard scores that stands for the lasting error."""


@dataclass(frozen=True, slots=True)
class LearnedPoints:
    """Points of a block's multipliers with their weights after the readings."""

    log_points: Floats
    """(points, 3) ln of k, c and r."""
    weight: Floats
    """(points,), sum 1."""
    fraction: NDArray[np.float32]
    """(points, midnights) missing share of the zone's water."""
    agreement: Agreement
    effective_count: float
    is_agreed: bool
    """False: hardly any point agrees with the readings, and nothing should be made of them."""


@dataclass(frozen=True, slots=True)
class MultiplierSummary:
    """What is known of ln k, ln c and ln r, arrays (3,)."""

    log_mean: Floats
    log_spread: Floats
    log_quantile: Floats
    """(levels, 3) at ``QUANTILE_LEVELS``."""

    @property
    def medians(self) -> Floats:
        """Medians of k, c and r."""
        return np.asarray(np.exp(self.log_quantile[QUANTILE_LEVELS.index(0.5)]))


@dataclass(frozen=True, slots=True)
class _Candidates:
    """Points before they are weighted."""

    log_points: Floats
    fraction: NDArray[np.float32]
    log_weight: Floats
    """(points,) ln of prior over proposal density."""


@dataclass(frozen=True, slots=True)
class BlockSoil:
    """Water contents between which a block's readings lie [m³ m⁻³]."""

    field_capacity: float
    wilting_point: float

    @property
    def water_range(self) -> float:
        """FC - WP."""
        return self.field_capacity - self.wilting_point


def learn_multipliers(
    terms: LedgerTerms,
    observations: SoilObservations,
    prior: MultiplierPrior,
    *,
    soil: BlockSoil,
    student_degrees: float | None = None,
) -> LearnedPoints:
    """Points of k, c and r, weighted by how well their ledgers agree with the readings.

    Shapes: terms (days,); observations (readings,); result 512 points, or 1024 with a second set.
    student_degrees: see :func:`service.agronomy.learning_likelihood.agreement`.
    Returns: LearnedPoints; equal weights without a reading. Readings after the first unknown day of
    the terms do not count.
    Source: importance sampling from the prior; see the head of this module.
    >>> terms = LedgerTerms(0.0, *(value * np.ones(9) for value in (20, 0.5, 0, 4, 4, 4, 0)))
    >>> points = learn_multipliers(terms, no_observations(), MultiplierPrior.default(),
    ...     soil=BlockSoil(0.23, 0.11))
    >>> round(points.effective_count)
    512
    """
    log_points = prior_points(prior)
    fraction = point_fractions(terms, log_points)
    known = observations.some(np.isfinite(fraction[0, observations.column]))
    drawn = _Candidates(log_points, fraction, np.zeros(POINT_COUNT))
    first = _weighed(drawn, known, soil, student_degrees)
    if first.is_agreed:
        return first
    second_log_points, extra = _second_points(prior, first)
    both = _Candidates(
        np.vstack((log_points, second_log_points)),
        np.vstack((fraction, point_fractions(terms, second_log_points))),
        extra,
    )
    pooled = _weighed(both, known, soil, student_degrees)
    if pooled.is_agreed:
        return pooled
    wider = replace(known, noise=known.noise * WIDER_NOISE_FACTOR)
    return _weighed(both, wider, soil, student_degrees)


def no_observations() -> SoilObservations:
    """Readings of a block that has none.

    Shapes: all (0,).
    Returns: SoilObservations without a reading or a sensor.
    """
    none, nothing = np.empty(0, dtype=np.int64), np.empty(0)
    return SoilObservations(none, nothing, nothing, nothing, none, none, nothing, nothing)


def _weighed(
    drawn: _Candidates,
    observations: SoilObservations,
    soil: BlockSoil,
    student_degrees: float | None,
) -> LearnedPoints:
    found = agreement(
        observations,
        drawn.fraction,
        field_capacity=soil.field_capacity,
        wilting_point=soil.wilting_point,
        student_degrees=student_degrees,
    )
    log_weight = found.log_weight + drawn.log_weight
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    effective_count = float(1.0 / np.sum(weight * weight))
    return LearnedPoints(
        log_points=drawn.log_points,
        weight=weight,
        fraction=drawn.fraction,
        agreement=found,
        effective_count=effective_count,
        is_agreed=effective_count >= FEWEST_EFFECTIVE,
    )


@cache
def _stretches() -> Floats:
    """Factors that make normal scores Student's, of fixed draws."""
    drawn = np.random.default_rng(1).chisquare(_STUDENT_DEGREES, POINT_COUNT)
    return np.sqrt(_STUDENT_DEGREES / drawn)


def _second_points(prior: MultiplierPrior, first: LearnedPoints) -> tuple[Floats, Floats]:
    """Points where those of weight lie, and for both sets ln of prior over proposal density."""
    mean = first.weight @ first.log_points
    apart = first.log_points - mean
    covariance = _SECOND_COVARIANCE_FACTOR * (first.weight[:, None] * apart).T @ apart
    covariance += np.diag((_LEAST_SECOND_SHARE * prior.log_spread) ** 2)
    root = np.linalg.cholesky(covariance)
    scores = standard_scores()[:, :_DIMENSIONS] * _stretches()[:, None]
    points = mean + scores @ root.T
    both = np.vstack((first.log_points, points))
    distance = np.linalg.solve(root, (both - mean).T)
    degrees = _STUDENT_DEGREES
    constant = lgamma((degrees + _DIMENSIONS) / 2) - lgamma(degrees / 2)
    constant -= 0.5 * _DIMENSIONS * log(degrees * pi) + float(np.sum(np.log(np.diag(root))))
    far = np.log1p(np.sum(distance * distance, axis=0) / degrees)
    proposed = constant - 0.5 * (degrees + _DIMENSIONS) * far
    expected = log_prior_density(prior, both) - 0.5 * _DIMENSIONS * log(2.0 * pi)
    # Half of the points come from each: ln prior - ln(prior + proposal), but for a constant.
    return points, expected - np.logaddexp(expected, proposed)


def weighted_quantiles(values: Floats, weight: Floats, levels: ArrayLike) -> Floats:
    """Quantiles of weighted values: the first, in order, at which the weights reach the level.

    Shapes: values and weight (points,); levels and result (levels,).
    Returns: values in their own unit.
    Source: definition of an empirical quantile.
    >>> shares = np.array([0.2, 0.5, 0.3])
    >>> weighted_quantiles(np.array([3.0, 1.0, 2.0]), shares, [0.5, 0.9]).tolist()
    [1.0, 3.0]
    """
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weight[order])
    wanted = np.asarray(levels, dtype=np.float64) * reached[-1]
    place = np.searchsorted(reached, wanted * (1.0 - 1e-12), side="left")
    return np.asarray(values[order][np.minimum(place, values.size - 1)])


def summarize(points: LearnedPoints) -> MultiplierSummary:
    """Means, spreads and quantiles of the logarithms of the multipliers.

    Shapes: result (3,) and (levels, 3).
    Returns: MultiplierSummary.
    Equation: weighted mean, standard deviation and order statistics.
    """
    mean = points.weight @ points.log_points
    spread = np.sqrt(points.weight @ (points.log_points - mean) ** 2)
    quantiles = [
        weighted_quantiles(column, points.weight, QUANTILE_LEVELS) for column in points.log_points.T
    ]
    return MultiplierSummary(mean, spread, np.stack(quantiles, axis=1))


def depletion_points_mm(
    points: LearnedPoints,
    column: int,
    *,
    taw_mm: float,
    soil: BlockSoil,
    model_error: float = MODEL_ERROR,
) -> Floats:
    """Depletion at a midnight at each point, with the error that even a right ledger has.

    Shapes: result (points,), to be weighted by ``points.weight``.
    column: midnight, as in ``points.fraction``; taw_mm: what the zone holds by its own numbers.
    Returns: block depth [mm], 0 to c TAW; NaN where the ledger is not known.
    Equation: D = c TAW (F - eps / (FC - WP)); eps is normal about what the readings up to that
    midnight left of it, exp(-dt/3 d) ago, with the spread of a process that forgets in 3 days.
    """
    found = points.agreement
    kept = 0.0
    if 0 <= found.last_column <= column:
        kept = float(np.exp((found.last_column - column) / MODEL_ERROR_DAYS))
    spread = np.sqrt(kept**2 * found.error_variance + 1.0 - kept**2)
    scores = np.resize(standard_scores()[:, _MODEL_SCORE], points.weight.size)
    error = model_error * (kept * found.error_score + spread * scores)
    missing = points.fraction[:, column].astype(np.float64) - error / soil.water_range
    held_mm = taw_mm * np.exp(points.log_points[:, AVAILABLE_WATER])
    return np.asarray(held_mm * np.clip(missing, 0.0, 1.0))
