"""One block's civil day in steps of one minute, as an oracle for the daily step and the planner.

Written for itself, in plain Python from the text of the model, and sharing nothing with the
service: a pulse's water counts from its start, ET leaves by its share of the day times the stress
coefficient of the moment, and what the managed zone cannot hold drains: at once, at minutes that
are given, or by a share a day. The differential equation is integrated numerically (classical
Runge-Kutta), finely where the depletion passes RAW.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise

STEPS_A_MINUTE = 4
STEPS_WHERE_STRESS_BEGINS = 2000  # the coefficient has a kink there


@dataclass(frozen=True, slots=True)
class SimulatedDay:
    """What a day of one-minute steps comes to, in mm."""

    depletion_end_mm: float
    irrigation_net_mm: float
    drainage_mm: float
    et_mm: float
    room_mm: tuple[float, ...]
    """Depletion just before each pulse."""


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


def depletion_after_minute(
    depletion_mm: float, et_mm: float, taw_mm: float, raw_mm: float
) -> float:
    """Depletion after a minute in which this much ET would pass without stress."""
    if et_mm == 0.0 or depletion_mm + et_mm <= raw_mm:
        return depletion_mm + et_mm
    count = STEPS_WHERE_STRESS_BEGINS if depletion_mm < raw_mm else STEPS_A_MINUTE
    step_mm = et_mm / count
    for _ in range(count):
        first = stress_coefficient(depletion_mm, taw_mm, raw_mm)
        second = stress_coefficient(depletion_mm + step_mm * first / 2, taw_mm, raw_mm)
        third = stress_coefficient(depletion_mm + step_mm * second / 2, taw_mm, raw_mm)
        fourth = stress_coefficient(depletion_mm + step_mm * third, taw_mm, raw_mm)
        depletion_mm += step_mm * (first + 2 * second + 2 * third + fourth) / 6
    return depletion_mm


def minute_et_mm(
    crop_et_mm: float, sunrise_min: float, sunset_min: float, day_length_min: int = 1440
) -> list[float]:
    """Unstressed ET of every minute of a day."""
    shares = [et_share(minute, sunrise_min, sunset_min) for minute in range(day_length_min + 1)]
    return [crop_et_mm * (after - before) for before, after in pairwise(shares)]


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
    enters_by_minute: bool = False,
    drains_at_min: Collection[float] | None = None,
    drained_per_day: float = 0.0,
) -> SimulatedDay:
    """Run a day. Within a minute the water comes before the ET, which is the side that drains.

    ``enters_by_minute``: a pulse's water counts minute by minute instead of from its start.
    ``drains_at_min``: water above capacity leaves at these minutes; at once where None.
    ``drained_per_day``: at other minutes it leaves at this rate. What is still there at the end is
    a depletion below 0.
    """
    water_mm = [0.0] * (day_length_min + 1)
    for start, duration in zip(starts_min, durations_min, strict=True):
        if enters_by_minute:
            for minute in range(start, start + duration):
                water_mm[minute] += net_rate_mm_per_min
        else:
            water_mm[start] += duration * net_rate_mm_per_min

    depletion_mm = depletion_after_rain_mm
    drainage_mm = used_mm = 0.0
    room_mm = []
    et_mm = minute_et_mm(crop_et_mm, sunrise_min, sunset_min, day_length_min)
    for minute in range(day_length_min):
        if minute in starts_min:
            room_mm.append(depletion_mm)
        depletion_mm -= water_mm[minute]
        if depletion_mm < 0.0:
            leaves_now = drains_at_min is None or minute in drains_at_min
            drained_mm = -depletion_mm * (1.0 if leaves_now else drained_per_day / 1440.0)
            drainage_mm += drained_mm
            depletion_mm += drained_mm
        before_mm = depletion_mm
        depletion_mm = depletion_after_minute(depletion_mm, et_mm[minute], taw_mm, raw_mm)
        used_mm += depletion_mm - before_mm
    return SimulatedDay(
        depletion_end_mm=depletion_mm,
        irrigation_net_mm=sum(water_mm),
        drainage_mm=drainage_mm,
        et_mm=used_mm,
        room_mm=tuple(room_mm),
    )
