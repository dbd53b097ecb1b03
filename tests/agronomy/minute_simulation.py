"""One block's civil day in steps of one minute, as an oracle for the daily step and the planner.

Written for itself, in plain Python from the text of the model, and sharing nothing with the
service: water runs in at the net rate while a pulse is on, ET leaves by its share of the day, and
what the managed zone cannot hold drains. The stress coefficient is the model's: fixed for the day
at sunrise, after the whole depth of the pulses that start before it.

``simulate_day`` and the daily step agree exactly only while the depletion stays below TAW during
the day, because the daily step knows the cap at TAW only for the day as a whole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SimulatedDay:
    """What a day of one-minute steps comes to, in mm."""

    depletion_end_mm: float
    irrigation_net_mm: float
    drainage_mm: float
    et_mm: float
    stress_coefficient: float
    highest_depletion_mm: float


def et_share(minute: float, sunrise_min: float, sunset_min: float) -> float:
    """Share of the day's ET by a minute of the day: (1 - cos(pi (t - sunrise) / length)) / 2."""
    if minute < sunrise_min:
        return 0.0
    if minute >= sunset_min:
        return 1.0
    return 0.5 - 0.5 * math.cos(math.pi * (minute - sunrise_min) / (sunset_min - sunrise_min))


def stress_coefficient(depletion_mm: float, taw_mm: float, raw_mm: float) -> float:
    """Ks, FAO-56 Eq. 84, held between 0 and 1."""
    if depletion_mm <= raw_mm:
        return 1.0
    return max(0.0, min(1.0, (taw_mm - depletion_mm) / (taw_mm - raw_mm)))


def simulate_day(
    *,
    depletion_after_rain_mm: float,
    crop_et_mm: float,
    taw_mm: float,
    raw_mm: float,
    sunrise_min: float,
    sunset_min: float,
    net_rate_mm_per_min: float,
    starts_min: Sequence[int],
    durations_min: Sequence[int],
    day_length_min: int = 1440,
) -> SimulatedDay:
    """Run a day. Within a minute the water comes before the ET, which is the side that drains."""
    water_mm = [0.0] * (day_length_min + 1)
    early_mm = 0.0
    for start, duration in zip(starts_min, durations_min, strict=True):
        if start < sunrise_min:
            early_mm += duration * net_rate_mm_per_min
        for minute in range(start, start + duration):
            water_mm[minute] += net_rate_mm_per_min
    stress = stress_coefficient(depletion_after_rain_mm - early_mm, taw_mm, raw_mm)

    depletion_mm = highest_mm = depletion_after_rain_mm
    drainage_mm = et_mm = 0.0
    for minute in range(day_length_min):
        depletion_mm -= water_mm[minute]
        if depletion_mm < 0.0:
            drainage_mm -= depletion_mm
            depletion_mm = 0.0
        share = et_share(minute + 1, sunrise_min, sunset_min)
        share -= et_share(minute, sunrise_min, sunset_min)
        step_mm = min(stress * crop_et_mm * share, taw_mm - depletion_mm)
        et_mm += step_mm
        depletion_mm += step_mm
        highest_mm = max(highest_mm, depletion_mm)
    return SimulatedDay(
        depletion_end_mm=depletion_mm,
        irrigation_net_mm=sum(water_mm),
        drainage_mm=drainage_mm,
        et_mm=et_mm,
        stress_coefficient=stress,
        highest_depletion_mm=highest_mm,
    )
