"""The pH of a water in a closed pipe, where no CO2 is lost.

In: the totals of a water and the protons that it lacks. Out: the pH at which both are true. What is
injected changes the totals and, if it is an acid or a base, the protons; total carbonate stays.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from service.waterworks.carbonate import speciate

LOWEST_SOUGHT_PH = 1.0
PH_TOLERANCE = 1e-4
MOST_STEPS = 60


def closed_pipe_ph(
    proton_deficit_meq_per_l: float,
    totals: Mapping[str, float],
    temperature_c: float,
    *,
    highest_ph: float,
) -> float:
    """The pH at which a water with these totals lacks so many protons.

    Shapes: scalars; totals as of ``carbonate.component_totals`` with ``carbonate``.
    highest_ph: where the search ends.
    Returns: pH, between 1 and ``highest_ph``.
    Equation: proton deficit of ``carbonate.speciate``, which rises with the pH; false position.
    >>> totals = {"calcium": 1e-3, "carbonate": 2.5e-3}
    >>> round(closed_pipe_ph(2.0, totals, 20.0, highest_ph=9.0), 1)
    7.0
    """
    low, high = LOWEST_SOUGHT_PH, highest_ph
    wanted = math.asinh(proton_deficit_meq_per_l * 1e3)
    at_low = _excess(low, totals, temperature_c, wanted)
    at_high = _excess(high, totals, temperature_c, wanted)
    if at_high <= 0.0:
        return high
    if at_low >= 0.0:
        return low
    kept = 0
    for _ in range(MOST_STEPS):
        # The Illinois rule: false position, with the end that stays weighed down.
        place = (low * at_high - high * at_low) / (at_high - at_low)
        value = _excess(place, totals, temperature_c, wanted)
        if abs(value) < PH_TOLERANCE or high - low < PH_TOLERANCE:
            return place
        if value < 0.0:
            low, at_low = place, value
            at_high *= 0.5 if kept < 0 else 1.0
            kept = -1
        else:
            high, at_high = place, value
            at_low *= 0.5 if kept > 0 else 1.0
            kept = 1
    return 0.5 * (low + high)


def _excess(ph: float, totals: Mapping[str, float], temperature_c: float, wanted: float) -> float:
    deficit = speciate(ph, totals, temperature_c).proton_deficit_meq_per_l
    return math.asinh(deficit * 1e3) - wanted
