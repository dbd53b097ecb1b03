"""What a mulch over the drip line takes off the crop coefficient.

In: the kind of mulch, the coefficients of the crop, and how often the drip has to run. Out: Kc of
the initial stage and the share taken off Kc mid and Kc end, both for a strip that is covered whole;
the cover that a block has scales them. FAO-56 (Allen et al. 1998) chapter 10, pages 195 to 197. Its
Table 25 has annual vegetables only: that the numbers hold for fruit is a choice of this project.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

FILM_KC_INITIAL = 0.10  # p. 196: "often as low as"
FILM_REDUCTION_DAYS = (1.0, 7.0, 9.0)
FILM_REDUCTION = (0.30, 0.15, 0.10)  # p. 196: 0.10-0.30, most where drip runs often; Ex. 45: 7 d
FABRIC_SHARE_OF_FILM = 0.5  # choice, no source: woven fabric lets vapour through
ORGANIC_EVAPORATION_SHARE = 0.5  # p. 197: 5 % of evaporation for each 10 % of cover
ORGANIC_EVAPORATION_OF_KC = 0.075  # p. 197: Kc less Kcb is 5-10 % of Kc mid and Kc end
REFERENCE_DEMAND_MM = 5.0  # choice: the demand at which the interval counts, as p in Table 22


class MulchEffect(NamedTuple):
    """Coefficients under a mulch that covers all of the wetted strip."""

    kc_initial: float
    mulch_kc_reduction_fraction: float
    """Share taken off Kc mid and Kc end."""


def watering_interval_day(
    taw_mm: float, depletion_fraction: float, trigger_fraction: float, *, kc_mid: float
) -> float:
    """Days between waterings in mid-season.

    Shapes: scalars.
    taw_mm: what the managed zone holds when full, TAW [mm].
    Returns: interval [d], endless without use; NaN where an input is.
    Equation: trigger p TAW / (5 mm/d x Kc mid), choice.
    >>> round(watering_interval_day(14.85, 0.5, 0.7, kc_mid=1.05), 2)
    0.99
    """
    taken_mm = trigger_fraction * depletion_fraction * taw_mm
    return taken_mm / (REFERENCE_DEMAND_MM * kc_mid) if kc_mid != 0.0 else math.inf


def mulch_effect(
    kind: str, kc_initial: float, *, interval_day: float, is_bare_at_first: bool
) -> MulchEffect:
    """Kc ini and the reduction of Kc mid and end under a complete mulch.

    Shapes: scalars.
    kind: ``none``, ``film``, ``fabric`` or ``organic``.
    is_bare_at_first: the initial stage is mostly evaporation; False for evergreens and over a live
    cover, whose Kc ini is that of leaves and falls like Kc mid.
    Returns: coefficients for full cover; NaN where the interval is.
    Equation: FAO-56 p. 196-197; between the printed points straight lines, choice.
    >>> mulch_effect("film", 0.4, interval_day=7.0, is_bare_at_first=True)  # Ex. 45
    MulchEffect(kc_initial=0.1, mulch_kc_reduction_fraction=0.15)
    """
    film = float(np.interp(interval_day, FILM_REDUCTION_DAYS, FILM_REDUCTION))
    film_initial = min(kc_initial, FILM_KC_INITIAL)
    initial, reduction = {
        "none": (kc_initial, 0.0),
        "film": (film_initial, film),
        "fabric": (
            kc_initial - FABRIC_SHARE_OF_FILM * (kc_initial - film_initial),
            FABRIC_SHARE_OF_FILM * film,
        ),
        "organic": (
            kc_initial * (1.0 - ORGANIC_EVAPORATION_SHARE),
            ORGANIC_EVAPORATION_SHARE * ORGANIC_EVAPORATION_OF_KC,
        ),
    }[kind]
    return MulchEffect(initial if is_bare_at_first else kc_initial * (1.0 - reduction), reduction)
