"""One block's ledger at many values of what is uncertain of it.

In: the terms of the block's days as its ledger has them, and points of the multipliers k of the
crop's use, c of the water that the zone holds and r of the emitters' rate. Out: the share of that
water which is missing at each point. The days are booked by the arithmetic of
:mod:`service.agronomy.water_balance`, so that the point at which nothing is changed is the ledger
itself. FAO-56 (Allen et al. 1998) chapter 8.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.agronomy.learning_points import APPLICATION, AVAILABLE_WATER, CROP_WATER
from service.agronomy.records import Floats
from service.agronomy.root_zone import depletion_fraction
from service.agronomy.water_balance import PulseTimes

RAIN_POWER = 0.5
"""[CHOICE] Entering rain goes with c to this power: half of what makes the zone larger is its
width, which catches rain, and half its depth, which does not."""


@dataclass(frozen=True, slots=True)
class LedgerTerms:
    """The days of one block as its ledger takes them, arrays (days,) without corrections."""

    depletion_start_mm: float
    """Before the first day."""
    taw_mm: Floats
    table_depletion_fraction: Floats
    """p of the crop table at 5 mm/d."""
    rain_entering_mm: Floats
    crop_et_mm: Floats
    """Kc ET0."""
    zone_et_mm: Floats
    """The part of it that the zone is asked for."""
    early_net_mm: Floats
    """Net depth of the runs that started before sunrise, as reported."""
    day_net_mm: Floats
    times: PulseTimes | None = None
    """Of the runs of the day, blocks = 1; evenly over the day's ET where None."""


def point_fractions(terms: LedgerTerms, log_points: Floats) -> NDArray[np.float32]:
    """Share of the zone's water that is missing, at each point and midnight.

    Shapes: log_points (points, 3), logarithms of k, c and r; result (points, days + 1).
    Returns: D / TAW [-]; column 0 before the first day, column d + 1 at the end of day d; NaN from
    a day with an unknown term on.
    Equation: the balance of :func:`service.agronomy.water_balance.step_days` with k Kc ET0, c TAW,
    c^0.5 of the entering rain, r of the net irrigation and p at k Kc ET0.
    >>> day = np.array([4.0])
    >>> terms = LedgerTerms(2.0, 20.0 + 0.0 * day, 0.5 + 0.0 * day, 0.0 * day, day, day, 0.0 * day,
    ...     0.0 * day)
    >>> point_fractions(terms, np.log([[1.0, 1.0, 1.0], [1.5, 1.0, 1.0]])).round(3).tolist()
    [[0.10000000149011612, 0.30000001192092896], [0.10000000149011612, 0.4000000059604645]]
    """
    from service.agronomy.balance_kernel import pulse_shares
    from service.agronomy.learning_ledger_kernel import PointRatios, PointTerms, book_points

    ratios = np.exp(log_points)
    k = np.ascontiguousarray(ratios[:, CROP_WATER])
    c = np.ascontiguousarray(ratios[:, AVAILABLE_WATER])
    day_count = terms.taw_mm.size
    raw_share = depletion_fraction(terms.table_depletion_fraction, k[:, None] * terms.crop_et_mm)
    found = np.full((k.size, day_count + 1), np.nan, dtype=np.float32)
    offset, shares, durations_min = np.zeros(day_count + 1, np.int64), np.empty(0), np.empty(0)
    if terms.times is not None:
        offset, durations_min = terms.times.offset, terms.times.duration_min
        sun = (terms.times.sunrise_min.ravel(), terms.times.sunset_min.ravel())
        shares = pulse_shares(offset, terms.times.start_min, *sun)
    given = (terms.taw_mm, terms.rain_entering_mm, terms.zone_et_mm)
    water = (terms.early_net_mm, terms.day_net_mm)
    book_points(
        np.full(k.size, terms.depletion_start_mm),
        # For the compiler a read-only array is of another type: it would compile once more.
        PointTerms(*(np.require(term, requirements=("C", "W")) for term in (*given, *water))),
        raw_share,
        PointRatios(k, c, c**RAIN_POWER, np.ascontiguousarray(ratios[:, APPLICATION])),
        offset,
        shares,
        durations_min,
        found,
    )
    return found
