"""Compiled loop of one block's balance at many points of its multipliers.

In: the terms of the block's days, and multipliers of its points. Out: the share of the zone's water
that is missing, day by day and point by point. Each day is that of ``balance_kernel.day_step``,
which the ledger takes too. The public entrance is :mod:`service.agronomy.learning_ledger`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.balance_kernel import day_step
from service.agronomy.records import Floats, Ints
from service.kernels import compiled


class PointTerms(NamedTuple):
    """What is given of every day of one block, arrays (days,)."""

    taw_mm: Floats
    rain_entering_mm: Floats
    zone_et_mm: Floats
    early_net_mm: Floats
    day_net_mm: Floats


class PointRatios(NamedTuple):
    """Multipliers of each point, arrays (points,)."""

    crop_water: Floats
    available_water: Floats
    rain: Floats
    application: Floats


@compiled
def book_points(
    depletion_start_mm: Floats,
    terms: PointTerms,
    raw_share: Floats,
    ratios: PointRatios,
    offset: Ints,
    shares: Floats,
    durations_min: Floats,
    fraction: NDArray[np.float32],
) -> None:
    """Fill ``fraction`` (points, days + 1): before the first day, and at the end of each.

    ``raw_share`` (points, days) is RAW over TAW; ``offset`` (days + 1,) bounds the pulses of each
    day. What follows an unknown number stays.
    """
    taws_mm, rains_mm, ets_mm, earlies_mm, days_mm = terms
    for point in range(depletion_start_mm.shape[0]):
        use, held = ratios.crop_water[point], ratios.available_water[point]
        caught, rate = ratios.rain[point], ratios.application[point]
        depletion_mm = depletion_start_mm[point]
        fraction[point, 0] = min(1.0, depletion_mm / (taws_mm[0] * held))
        for day in range(taws_mm.shape[0]):
            taw_mm = taws_mm[day] * held
            raw_mm = taw_mm * raw_share[point, day]
            rain_mm, et_mm = rains_mm[day] * caught, ets_mm[day] * use
            early_mm, day_mm = earlies_mm[day] * rate, days_mm[day] * rate
            if math.isnan(depletion_mm + raw_mm + rain_mm + et_mm + early_mm + day_mm):
                break
            depletion_mm = day_step(
                depletion_mm, taw_mm, raw_mm, rain_mm, et_mm, early_mm, day_mm,
                shares, durations_min, (offset[day], offset[day + 1]),
            ).depletion_end_mm  # fmt: skip
            fraction[point, day + 1] = depletion_mm / taw_mm
