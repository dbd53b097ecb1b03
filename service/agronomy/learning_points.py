"""The points at which a block's ledger is run to learn from it, and how likely each is beforehand.

In: what is known of three multipliers before any reading. Out: 512 points of them, with the same
standard scores for every block, so that two runs on the same numbers agree to the bit. The
multipliers are k, the crop's water use over that of its curve; c, the water that the zone holds
over the computed; r, the rate of the emitters over the nominal one; each of them is lognormal. The
spreads beforehand: published Kc of one crop and training differ by 15 to 20 % (Allen & Pereira
2009, Irrig. Sci. 28:17-34); depth, strip and texture class together by 30 % (root sum square of the
ranges in FAO-56 tables 19 and 22 and of the strip's width); rates within a field by 8 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from service.agronomy.records import Floats

POINT_COUNT = 512
CROP_WATER, AVAILABLE_WATER, APPLICATION = 0, 1, 2
"""Places of k, c and r."""
PARAMETERS = ("crop_water", "available_water", "application")
PRIOR_LOG_SPREAD = (0.18, 0.30, 0.08)
COMPENSATED_LOG_SPREAD = 0.05  # of r with pressure-compensated emitters [CHOICE]
UNKNOWN_PRESSURE_LOG_SPREAD = 0.15  # of r where no pressure is known [CHOICE]
METER_LOG_SPREAD = 0.03  # of one metered event; class-2 water meters keep 2 to 5 %
SCORE_COUNT = 5
"""Scores of a point: k, c, r, the depletion at the start, the error of the model."""

# Primitive polynomials and first direction numbers of dimensions 2 to 5: Joe & Kuo 2008, SIAM J.
# Sci. Comput. 30:2635-2654, the table new-joe-kuo-6 (from memory; scipy has the same).
_POLYNOMIALS = ((1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)))
_BITS = 9
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class MultiplierPrior:
    """What is known of ln k, ln c and ln r before the readings: normal, arrays (3,)."""

    log_mean: Floats
    log_spread: Floats
    """Standard deviations."""

    @classmethod
    def default(cls) -> MultiplierPrior:
        """That of a block of which nothing has been learned."""
        return cls(np.zeros(3), np.array(PRIOR_LOG_SPREAD))


@cache
def _sobol_scores() -> Floats:
    """Sobol's points as standard normal scores."""
    count = 1 << _BITS
    index = np.arange(count, dtype=np.int64)
    scores = np.empty((count, SCORE_COUNT))
    for dimension in range(SCORE_COUNT):
        place = np.zeros(count, dtype=np.int64)
        for bit, direction in enumerate(_directions(dimension)):
            place ^= np.where((index >> bit) & 1, direction << (_BITS - 1 - bit), 0)
        shares = (place + 0.5) / count
        scores[:, dimension] = [_NORMAL.inv_cdf(share) for share in shares.tolist()]
    scores.setflags(write=False)
    return scores


def _directions(dimension: int) -> list[int]:
    """Direction numbers m of one dimension."""
    if dimension == 0:
        return [1] * _BITS
    degree, coefficients, first = _POLYNOMIALS[dimension - 1]
    numbers = list(first)
    while len(numbers) < _BITS:
        number = numbers[-degree] ^ (numbers[-degree] << degree)
        for step in range(1, degree):
            if (coefficients >> (degree - 1 - step)) & 1:
                number ^= numbers[-step] << step
        numbers.append(number)
    return numbers


def standard_scores() -> Floats:
    """Standard normal scores of the points, evenly spread in five dimensions.

    Shapes: result (512, 5), read-only.
    Returns: scores [-]; each column has 512 different values, symmetric about 0.
    Source: Sobol's sequence with the direction numbers of Joe & Kuo 2008, each point in the middle
    of its cell, through the inverse normal distribution.
    >>> bool(abs(standard_scores().mean()) < 1e-12)
    True
    """
    return _sobol_scores()


def with_meter(
    prior: MultiplierPrior, log_ratios: ArrayLike, *, meter_log_spread: float = METER_LOG_SPREAD
) -> MultiplierPrior:
    """The prior with what a meter says of the rate.

    Shapes: log_ratios (events,), ln of metered over nominal volume of each event.
    meter_log_spread: standard deviation of one event.
    Returns: MultiplierPrior, k and c as they were; unchanged without an event.
    Equation: 1/v = 1/s² + n/q², m = v (m0/s² + sum/q²): normal mean with known variance.
    >>> prior = with_meter(MultiplierPrior.default(), [0.1, 0.1, 0.1])
    >>> round(float(prior.log_mean[2]), 3), round(float(prior.log_spread[2]), 4)
    (0.096, 0.0169)
    """
    ratios = np.asarray(log_ratios, dtype=np.float64)
    if ratios.size == 0:
        return prior
    mean, spread = prior.log_mean.copy(), prior.log_spread.copy()
    known, seen = 1.0 / spread[APPLICATION] ** 2, 1.0 / meter_log_spread**2
    variance = 1.0 / (known + ratios.size * seen)
    mean[APPLICATION] = variance * (known * mean[APPLICATION] + seen * ratios.sum())
    spread[APPLICATION] = np.sqrt(variance)
    return MultiplierPrior(mean, spread)


def prior_points(prior: MultiplierPrior) -> Floats:
    """Logarithms of k, c and r at each point.

    Shapes: result (512, 3).
    Returns: ln of the multipliers [-], spread as the prior says.
    Equation: mean + spread x score.
    >>> points = prior_points(MultiplierPrior.default())
    >>> points.shape, bool(abs(points[:, 0].std() / 0.18 - 1.0) < 0.01)
    ((512, 3), True)
    """
    return np.asarray(prior.log_mean + prior.log_spread * standard_scores()[:, :3])


def log_prior_density(prior: MultiplierPrior, log_points: Floats) -> Floats:
    """Logarithm of the prior's density at points, but for a constant of the dimension.

    Shapes: log_points (points, 3); result (points,).
    Returns: ln density [-].
    Equation: -sum of (x - m)² / 2s² + ln s.
    >>> prior = MultiplierPrior(np.zeros(3), np.ones(3))
    >>> log_prior_density(prior, np.array([[1.0, 0.0, 1.0]])).tolist()
    [-1.0]
    """
    scores = (log_points - prior.log_mean) / prior.log_spread
    return np.asarray(-0.5 * np.sum(scores * scores, axis=1) - np.sum(np.log(prior.log_spread)))
