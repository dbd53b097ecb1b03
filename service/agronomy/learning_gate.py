"""Which learned multiplier is sure enough to be offered, and how far a plan may move towards it.

In: what readings have taught of a block, before and after, and what they rest on. Out: for each
multiplier whether it may be offered and else why not, and the value offered. Nothing is used
without a yes, no step is larger than 15 %, and none comes within 14 days of another. The limits are
[CHOICE], with figures in the validation record.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import exp, log

import numpy as np

from service.agronomy.learned_multipliers import QUANTILE_LEVELS, MultiplierSummary
from service.agronomy.learning_points import AVAILABLE_WATER, CROP_WATER, MultiplierPrior
from service.agronomy.records import Floats

LARGEST_SPREAD_SHARE = (0.6, 0.6, 0.5)  # [CHOICE] of the prior's spread
BOUNDS = ((0.60, 1.50), (0.50, 2.00), (0.75, 1.25))  # [CHOICE] of k, c and r in use
FEWEST_READINGS = 8  # [CHOICE]
FEWEST_DAYS = 21  # [CHOICE]
LEAST_DRYING_FRACTION = 0.15  # [CHOICE] of TAW between waterings; 0.3 RAW at p = 0.5
QUIET_DAYS = 14  # [CHOICE] without a doubt about a sensor
SMALLEST_CHANGE_FRACTION = 0.05  # [CHOICE] of the minutes
LARGEST_STEP = 0.15  # [CHOICE] of one offer
DAYS_BETWEEN_OFFERS = 14  # [CHOICE]
WORSE_RATIO = 1.2  # [CHOICE] of the mean squared scores, at which a value is withdrawn


class Refusal(enum.IntEnum):
    """Why a multiplier is not offered, as it is stored."""

    NONE = 0
    FEW_READINGS = 1
    NO_DRYING = 2
    """The soil never dried by enough between two waterings."""
    SENSOR_IN_DOUBT = 3
    DISAGREES = 4
    """No value of the multipliers explains the readings."""
    UNSURE = 5
    """The spread has not narrowed enough."""
    OUT_OF_BOUNDS = 6
    SMALL_CHANGE = 7
    TOO_SOON = 8
    """After the last change."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a block's learned values rest on."""

    reading_count: int
    first_day: date | None
    last_day: date | None
    largest_drying_fraction: float
    """Largest rise of D / TAW between two waterings."""
    last_doubt: date | None
    """Last day on which a sensor was in doubt."""
    is_agreed: bool


@dataclass(frozen=True, slots=True)
class MultiplierOffer:
    """What is to be done with one learned multiplier."""

    refusal: Refusal
    offered: float
    """Multiplier that the plan could use; the one in use where it is refused."""
    likely: tuple[float, float]
    """Between which it lies with a chance of 80 %."""


@dataclass(frozen=True, slots=True)
class InUse:
    """Multipliers that the plan uses now."""

    values: tuple[float, float, float] = (1.0, 1.0, 1.0)
    since: date | None = None
    """Day of the last change."""
    minutes_sensitivity: tuple[float, float, float] = field(default=(1.0, 0.3, 1.0))
    """[CHOICE] relative change of the minutes for one of the multiplier."""


def offers(
    learned: MultiplierSummary,
    prior: MultiplierPrior,
    evidence: Evidence,
    *,
    in_use: InUse,
    today: date,
) -> tuple[MultiplierOffer, ...]:
    """What may be offered of k, c and r.

    Shapes: learned and prior (3,); result one offer for each.
    prior: that of a block without readings or meter: what a spread is held against.
    Returns: MultiplierOffer of each. c goes along with k at its own median once k passes.
    Source: rules of this module; [CHOICE].
    """
    common = _common_refusal(evidence, today)
    refusals = [
        common if common is not Refusal.NONE else _own_refusal(learned, prior, in_use, which)
        for which in range(3)
    ]
    if refusals[CROP_WATER] is Refusal.NONE and refusals[AVAILABLE_WATER] is Refusal.UNSURE:
        refusals[AVAILABLE_WATER] = Refusal.NONE
    if in_use.since is not None and today - in_use.since < timedelta(days=DAYS_BETWEEN_OFFERS):
        refusals = [
            Refusal.TOO_SOON if refusal is Refusal.NONE else refusal for refusal in refusals
        ]
    low, high = QUANTILE_LEVELS.index(0.1), QUANTILE_LEVELS.index(0.9)
    return tuple(
        MultiplierOffer(
            refusal=refusal,
            offered=_stepped(float(learned.medians[which]), in_use.values[which], BOUNDS[which])
            if refusal is Refusal.NONE
            else in_use.values[which],
            likely=(
                exp(float(learned.log_quantile[low, which])),
                exp(float(learned.log_quantile[high, which])),
            ),
        )
        for which, refusal in enumerate(refusals)
    )


def _common_refusal(evidence: Evidence, today: date) -> Refusal:
    if evidence.first_day is None or evidence.last_day is None:
        return Refusal.FEW_READINGS
    spanned = (evidence.last_day - evidence.first_day).days
    if evidence.reading_count < FEWEST_READINGS or spanned < FEWEST_DAYS:
        return Refusal.FEW_READINGS
    if evidence.largest_drying_fraction < LEAST_DRYING_FRACTION:
        return Refusal.NO_DRYING
    doubt = evidence.last_doubt
    if doubt is not None and today - doubt < timedelta(days=QUIET_DAYS):
        return Refusal.SENSOR_IN_DOUBT
    return Refusal.NONE if evidence.is_agreed else Refusal.DISAGREES


def _own_refusal(
    learned: MultiplierSummary, prior: MultiplierPrior, in_use: InUse, which: int
) -> Refusal:
    log_quantile = learned.log_quantile[:, which]
    share = float(learned.log_spread[which] / prior.log_spread[which])
    if share >= LARGEST_SPREAD_SHARE[which]:
        return Refusal.UNSURE
    least, most = BOUNDS[which]
    if log_quantile[0] < log(least) or log_quantile[-1] > log(most):
        return Refusal.OUT_OF_BOUNDS
    low, high = QUANTILE_LEVELS.index(0.1), QUANTILE_LEVELS.index(0.9)
    now = log(in_use.values[which])
    is_other = not log_quantile[low] <= now <= log_quantile[high]
    change = abs(float(learned.medians[which]) / in_use.values[which] - 1.0)
    is_large = change * in_use.minutes_sensitivity[which] >= SMALLEST_CHANGE_FRACTION
    return Refusal.NONE if is_other or is_large else Refusal.SMALL_CHANGE


def _stepped(wanted: float, now: float, bounds: tuple[float, float]) -> float:
    """As near to what is wanted as one step leads, inside the bounds."""
    reached = min(max(wanted, now * (1.0 - LARGEST_STEP)), now * (1.0 + LARGEST_STEP))
    return min(max(reached, bounds[0]), bounds[1])


def largest_drying_fraction(fraction: Floats, water_mm: Floats) -> float:
    """Largest rise of the missing share of the zone's water between two waterings.

    Shapes: fraction (days + 1,) at midnights; water_mm (days,) rain and irrigation that entered.
    Returns: fraction, 0 without a day; days that are not known end a run.
    Source: definition.
    >>> largest_drying_fraction(np.array([0.1, 0.25, 0.5, 0.0, 0.125]), np.array([0, 0, 9, 0.0]))
    0.4
    """
    largest = 0.0
    begun = float(fraction[0])
    for row in range(water_mm.size):
        end = float(fraction[row + 1])
        if water_mm[row] > 0.0 or not begun <= end:
            begun = end
        else:
            largest = max(largest, end - begun)
    return largest


def is_worse(score_with: Floats, score_without: Floats) -> bool:
    """Whether readings agree less with the ledger of a learned value than with that of the default.

    Shapes: both (readings,), one-step scores of the same readings of the last 30 days.
    Returns: True where the mean square with it is more than 20 % larger; False without readings.
    Equation: mean z² over mean z² above 1.2. [CHOICE]
    >>> is_worse(np.array([2.0, -2.0]), np.array([1.0, -1.0])), is_worse(np.empty(0), np.empty(0))
    (True, False)
    """
    if score_with.size == 0:
        return False
    return bool(np.mean(score_with**2) > WORSE_RATIO * np.mean(score_without**2))
