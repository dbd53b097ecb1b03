"""What is left of learned multipliers after a winter, a time without readings or a change.

In: what one season has taught of a block, or many blocks of a farm. Out: what is known of it before
the next season. A canopy changes from year to year, emitters clog and are mended, so that what was
learned fades towards what is usual: the factors are [CHOICE], without a source. New blocks of the
same crop, age and soil on one farm begin from what the others have in common; Gelman & Hill 2007,
Data Analysis Using Regression and Multilevel Models, ch. 12, for the shrinkage.
"""

from __future__ import annotations

from math import exp
from typing import NamedTuple

import numpy as np

from service.agronomy.learned_multipliers import MultiplierSummary
from service.agronomy.learning_points import MultiplierPrior
from service.agronomy.records import Floats

WINTER_KEPT = (0.7, 0.8, 0.85)  # [CHOICE] of k, c and r from one season to the next
FORGETTING_DAYS = 365.0  # [CHOICE] without accepted readings within a season
BETWEEN_BLOCKS_LOG_SPREAD = (0.12, 0.20)  # [CHOICE] of k and c among alike blocks of a farm
FEWEST_ALIKE = 4  # [CHOICE]
SOURCE_CHANGE_LOG_SPREAD = 0.10  # [CHOICE] added to k when the source of the weather changes


class ChangesOfBlock(NamedTuple):
    """What was changed at a block since its values were learned."""

    is_pruned_otherwise: bool = False
    """Or another year of its age."""
    has_new_emitters: bool = False
    """Or another pressure."""
    has_new_soil_cover: bool = False
    """An amendment or another mulch."""


def faded(learned: MultiplierSummary, usual: MultiplierPrior, kept: Floats) -> MultiplierPrior:
    """What is known of multipliers after part of what was learned has faded.

    Shapes: all (3,).
    kept: share of what was learned that is kept, 0 for a fresh start.
    Returns: MultiplierPrior; ``usual`` itself where nothing is kept.
    Equation: ln theta ~ N(m0 + a (m - m0), a² v + (1 - a²) v0).
    >>> learned = MultiplierSummary(np.array([0.2, 0.0, 0.0]), np.full(3, 0.05), np.empty((7, 3)))
    >>> after = faded(learned, MultiplierPrior.default(), np.array([0.7, 0.8, 0.85]))
    >>> round(float(after.log_mean[0]), 3), round(float(after.log_spread[0]), 3)
    (0.14, 0.133)
    """
    mean = usual.log_mean + kept * (learned.log_mean - usual.log_mean)
    variance = kept**2 * learned.log_spread**2 + (1.0 - kept**2) * usual.log_spread**2
    return MultiplierPrior(mean, np.sqrt(variance))


def kept_over_winter(changes: ChangesOfBlock) -> Floats:
    """Share of what was learned of k, c and r that counts in the next season.

    Shapes: result (3,).
    Returns: shares [-].
    Source: [CHOICE]: 0.7, 0.8, 0.85; 0.5 of k after other pruning, of c after other soil cover,
    nothing of r after new emitters.
    >>> kept_over_winter(ChangesOfBlock(has_new_emitters=True)).tolist()
    [0.7, 0.8, 0.0]
    """
    k, c, r = WINTER_KEPT
    return np.array(
        [
            0.5 if changes.is_pruned_otherwise else k,
            0.5 if changes.has_new_soil_cover else c,
            0.0 if changes.has_new_emitters else r,
        ]
    )


def kept_without_readings(days: float) -> float:
    """Share of what was learned that counts after days without an accepted reading.

    Shapes: scalar.
    Returns: share [-].
    Equation: exp(-days / 365). [CHOICE]
    >>> round(kept_without_readings(365.0), 3)
    0.368
    """
    return exp(-days / FORGETTING_DAYS)


def with_other_weather(prior: MultiplierPrior) -> MultiplierPrior:
    """What is known after the source of the weather has changed, from which k was learned.

    Shapes: (3,).
    Returns: MultiplierPrior with a wider k.
    Equation: variance + 0.10². [CHOICE]
    """
    spread = prior.log_spread.copy()
    spread[0] = np.hypot(spread[0], SOURCE_CHANGE_LOG_SPREAD)
    return MultiplierPrior(prior.log_mean, spread)


def pooled_prior(learned: list[MultiplierSummary], usual: MultiplierPrior) -> MultiplierPrior:
    """What is known of a new block from alike blocks of its farm.

    Shapes: one summary for each block; result (3,).
    learned: of blocks of the same crop, age class and soil of one farm, never of others.
    Returns: MultiplierPrior; ``usual`` with fewer than four blocks, and r always as usual.
    Equation: blocks lie about their common mean with s = 0.12 (k), 0.20 (c); that mean, weighted by
    1 / (v_i + s²) with the usual prior about it, and as variance its own plus s².
    """
    if len(learned) < FEWEST_ALIKE:
        return usual
    mean, spread = usual.log_mean.copy(), usual.log_spread.copy()
    for which, between in enumerate(BETWEEN_BLOCKS_LOG_SPREAD):
        own = np.array([summary.log_mean[which] for summary in learned])
        precision = np.array(
            [1.0 / (summary.log_spread[which] ** 2 + between**2) for summary in learned]
        )
        # What the usual spread leaves for the mean of a group.
        common = 1.0 / max(spread[which] ** 2 - between**2, 1e-4)
        variance = 1.0 / (common + precision.sum())
        mean[which] = variance * (common * mean[which] + float(precision @ own))
        spread[which] = min(spread[which], float(np.sqrt(variance + between**2)))
    return MultiplierPrior(mean, spread)
