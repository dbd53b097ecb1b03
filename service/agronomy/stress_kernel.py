"""Compiled arithmetic of the root zone's depletion within one civil day.

Between two pulses the crop takes its share of the day's ET: all of it down to the readily available
water, and below that in proportion to what is left. FAO-56 (Allen et al. 1998) Eq. 84 gives that
proportion, dD/dE = (TAW - D) / (TAW - RAW), for the depletion of the moment; here it is integrated
over E, the unstressed ET that passes, and not held at its value of the morning.

In: one block's depletion, ET and entering water of a part of the day. Out: the depletion after it,
or the ET that leads to a given depletion. The ledger, the room for a pulse, the check of an
injection and the outlook all call the functions of this file.
"""

from __future__ import annotations

import math

from service.kernels import compiled

SMALLEST_MM = 1e-12  # depths that no quotient is formed with


@compiled
def et_share(minute: float, sunrise_min: float, sunset_min: float) -> float:
    """Share of the day's ET that has passed by a minute: F(t), 0.5 at solar noon.

    (1 - cos(pi (t - sunrise) / daylength)) / 2, a half sine of the ET rate over the daylight hours.
    [CHOICE]: no published source.
    """
    if minute < sunrise_min:
        return 0.0
    if minute >= sunset_min:
        return 1.0
    turned = math.pi * (minute - sunrise_min) / (sunset_min - sunrise_min)
    return (1.0 - math.cos(turned)) / 2.0


@compiled
def stress_coefficient(depletion_mm: float, taw_mm: float, raw_mm: float) -> float:
    """Ks of the moment, FAO-56 Eq. 84: 1 down to RAW, 0 where nothing is left."""
    if depletion_mm <= raw_mm:
        return 1.0
    return max(0.0, taw_mm - depletion_mm) / (taw_mm - raw_mm)


@compiled
def depletion_after_et(depletion_mm: float, et_mm: float, taw_mm: float, raw_mm: float) -> float:
    """Depletion after an unstressed ET of this depth would have passed, without new water.

    D + E as far as RAW, then TAW - D = (TAW - D0) exp(-E / (TAW - RAW)). A zone above field
    capacity has a depletion below 0, which the crop uses first.
    """
    if depletion_mm + et_mm <= raw_mm:
        return depletion_mm + et_mm
    span_mm = taw_mm - raw_mm
    if span_mm <= SMALLEST_MM:
        return min(depletion_mm + et_mm, taw_mm)
    begun_mm = max(depletion_mm, raw_mm)
    stressed_et_mm = et_mm - (begun_mm - depletion_mm)
    return min(taw_mm, begun_mm - (taw_mm - begun_mm) * math.expm1(-stressed_et_mm / span_mm))


@compiled
def et_until_depletion(
    depletion_mm: float, wanted_mm: float, taw_mm: float, raw_mm: float
) -> float:
    """Unstressed ET that has to pass before the depletion is what is wanted; infinite for never.

    ``depletion_after_et`` solved for the ET.
    """
    if wanted_mm <= depletion_mm:
        return 0.0
    if wanted_mm <= raw_mm:
        return wanted_mm - depletion_mm
    if wanted_mm >= taw_mm:
        return math.inf
    begun_mm = max(depletion_mm, raw_mm)
    stressed_et_mm = (taw_mm - raw_mm) * math.log((taw_mm - begun_mm) / (taw_mm - wanted_mm))
    return begun_mm - depletion_mm + stressed_et_mm


@compiled
def depletion_with_inflow(
    depletion_mm: float, et_mm: float, inflow_mm: float, taw_mm: float, raw_mm: float
) -> float:
    """Depletion after an unstressed ET, with water that enters in step with that ET.

    Above RAW linear; below it the reserve R = TAW - D follows dR/dE = inflow/E - R / (TAW - RAW),
    so that it approaches (TAW - RAW) inflow/E exponentially.
    """
    if inflow_mm == 0.0:
        return depletion_after_et(depletion_mm, et_mm, taw_mm, raw_mm)
    rise_mm = et_mm - inflow_mm
    if et_mm <= SMALLEST_MM or (depletion_mm <= raw_mm and depletion_mm + rise_mm <= raw_mm):
        return depletion_mm + rise_mm
    span_mm = taw_mm - raw_mm
    if span_mm <= SMALLEST_MM:
        return min(depletion_mm + rise_mm, taw_mm)
    begun_mm = max(depletion_mm, raw_mm)
    share_left = 1.0 if depletion_mm >= raw_mm else 1.0 - (raw_mm - depletion_mm) / rise_mm
    lasting_mm = span_mm * inflow_mm / et_mm
    reserve_mm = taw_mm - begun_mm
    decay_per_share = et_mm / span_mm
    if rise_mm < 0.0:
        # The reserve grows past the span: from there on there is no stress.
        share = math.log((lasting_mm - reserve_mm) / (lasting_mm - span_mm)) / decay_per_share
        if share < share_left:
            return raw_mm + rise_mm * (share_left - share)
    approach = -math.expm1(-decay_per_share * share_left)
    return min(taw_mm, begun_mm - (lasting_mm - reserve_mm) * approach)
