"""How much a grower would rather risk, and which share of a forecast that leaves to chance.

In: a choice of words. Out: what a millimetre of water, of drainage and of thirst costs, and from
these the share of a forecast's members that may turn out drier than what is planned for. It is the
critical ratio of the newsvendor (Arrow, Harris & Marschak 1951, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from service.agronomy.records import Floats, Ints

CREDIT_LIMITS = (0.02, 0.50)
"""[CHOICE] Between these the share of the members lies that may turn out drier."""
SMALLEST_SPAN_MM = 0.5
"""[CHOICE] Least TAW - RAW by which a millimetre of thirst is divided."""


class RiskAttitude(IntEnum):
    """What a grower would rather risk: a thirsty crop, or water and nitrate that are lost."""

    CLASSIC = 0
    """The evening rule of trigger and rain room, which knows no spread."""
    CAREFUL_CROP = 1
    BALANCED = 2
    CAREFUL_WATER = 3


def attitude_name(attitude: RiskAttitude) -> str:
    """The word for an attitude in files, commands and answers.

    Shapes: one attitude.
    Returns: ``classic``, ``careful-crop``, ``balanced`` or ``careful-water``.
    >>> attitude_name(RiskAttitude.CAREFUL_WATER)
    'careful-water'
    """
    return attitude.name.lower().replace("_", "-")


def attitude_named(word: str) -> RiskAttitude:
    """The attitude of a word; the other way round.

    Shapes: one word.
    Returns: the attitude. Raises KeyError for another word.
    >>> attitude_named("careful-water").name
    'CAREFUL_WATER'
    """
    return RiskAttitude[word.upper().replace("-", "_")]


COST_RATIOS: dict[RiskAttitude, tuple[float, float, float]] = {
    RiskAttitude.CLASSIC: (1.0, 1.0, 40.0),
    RiskAttitude.CAREFUL_CROP: (1.0, 1.0, 100.0),
    RiskAttitude.BALANCED: (1.0, 1.0, 40.0),
    RiskAttitude.CAREFUL_WATER: (1.0, 5.0, 40.0),
}
"""[CHOICE] Cost of a block millimetre of water, of drainage and of lost transpiration; that of the
classic rule is what it is compared by. 40: a crop worth 20,000 a hectare that uses 600 mm loses
about 33 a millimetre, and pumping costs 0.5 to 1; a millimetre drained at 20 mg/L nitrate-N takes
0.2 kg of it along."""


@dataclass(frozen=True, slots=True)
class CostRatios:
    """Cost of a block millimetre, that of water usually 1; arrays (blocks,)."""

    water_cost_ratio: Floats
    drainage_cost_ratio: Floats
    stress_cost_ratio: Floats
    """Of transpiration that is lost."""


def costs_of(attitude: Ints) -> CostRatios:
    """The cost ratios of attitudes.

    Shapes: attitude (blocks,) of :class:`RiskAttitude`; result (blocks,).
    Returns: CostRatios.
    Source: [CHOICE], see ``COST_RATIOS``.
    >>> costs_of(np.array([RiskAttitude.CAREFUL_WATER])).drainage_cost_ratio.tolist()
    [5.0]
    """
    table = np.array([COST_RATIOS[each] for each in RiskAttitude])
    return CostRatios(*table[attitude].T)


def credit_fraction(
    crop_et_mm: Floats, *, taw_mm: Floats, raw_mm: Floats, costs: CostRatios
) -> Floats:
    """The share of the members that may turn out drier than what is planned for, q*.

    Shapes: all (blocks,).
    crop_et_mm: use of the day without stress, mean of the members.
    Returns: 0.02 to 0.50; NaN wherever an input is NaN.
    Equation: q* = co / (co + cu); co = water + drainage, cu = stress ETc / max(0.5, TAW - RAW),
    the slope of ETc (1 - Ks) beyond RAW. The newsvendor's ratio; limits are choices.
    >>> costs = costs_of(np.array([RiskAttitude.BALANCED]))
    >>> one = np.array([1.0])
    >>> sand = credit_fraction(4.0 * one, taw_mm=14.9 * one, raw_mm=7.45 * one, costs=costs)
    >>> clay = credit_fraction(3.0 * one, taw_mm=60.0 * one, raw_mm=27.0 * one, costs=costs)
    >>> round(float(sand[0]), 3), round(float(clay[0]), 3)
    (0.085, 0.355)
    """
    too_much = costs.water_cost_ratio + costs.drainage_cost_ratio
    too_little = (
        costs.stress_cost_ratio * crop_et_mm / np.maximum(SMALLEST_SPAN_MM, taw_mm - raw_mm)
    )
    fraction: Floats = np.clip(too_much / (too_much + too_little), *CREDIT_LIMITS)
    return fraction
