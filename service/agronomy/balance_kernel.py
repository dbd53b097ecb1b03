"""Compiled loop of the root-zone balance over days and blocks.

In: depletion at the start; per day and block the ET, the rain, the water and its hours. Out: the
books of every day. The public entrance is :mod:`service.agronomy.water_balance`, which says what is
booked and why.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from service.agronomy.records import Floats, Ints
from service.agronomy.stress_kernel import (
    SMALLEST_MM,
    depletion_after_et,
    depletion_with_inflow,
    et_share,
    stress_coefficient,
)
from service.kernels import compiled


class DayTerms(NamedTuple):
    """What is given of every day and block, arrays (days, blocks)."""

    taw_mm: Floats
    raw_mm: Floats
    rain_entering_mm: Floats
    crop_et_mm: Floats
    early_net_mm: Floats
    day_net_mm: Floats


class DayBookings(NamedTuple):
    """What the step finds, arrays (days, blocks); see ``water_balance.DayLedger``."""

    depletion_start_mm: Floats
    resize_mm: Floats
    rain_drainage_mm: Floats
    irrigation_drainage_mm: Floats
    stress_ratio: Floats
    actual_crop_et_mm: Floats
    depletion_end_mm: Floats


@compiled
def pulse_shares(
    offset: Ints, start_min: Floats, sunrise_min: Floats, sunset_min: Floats
) -> Floats:
    """Share of the day's ET that has passed at the start of each pulse.

    ``offset`` (cells + 1,) bounds the pulses of each day and block, the sun's times are (cells,).
    """
    shares = np.empty(start_min.shape)
    for cell in range(sunrise_min.shape[0]):
        for place in range(offset[cell], offset[cell + 1]):
            shares[place] = et_share(start_min[place], sunrise_min[cell], sunset_min[cell])
    return shares


@compiled
def pulse_course(
    depletion_mm: float,
    crop_et_mm: float,
    day_net_mm: float,
    taw_mm: float,
    raw_mm: float,
    shares: Floats,
    durations_min: Floats,
    own: tuple[int, int],
) -> float:
    """Depletion at the end of a day from that at sunrise, before what is above capacity drains.

    The day's pulses are the entries ``own[0]:own[1]``, without a slice of the arrays, which takes
    longer than the rest. The water enters at the start of each pulse, in proportion to its length;
    evenly over the day's ET where none ran for any time.
    """
    running_min = 0.0
    for place in range(own[0], own[1]):
        running_min += durations_min[place]
    if running_min <= 0.0:
        return depletion_with_inflow(depletion_mm, crop_et_mm, day_net_mm, taw_mm, raw_mm)
    share = 0.0
    for place in range(own[0], own[1]):
        et_mm = crop_et_mm * (shares[place] - share)
        depletion_mm = depletion_after_et(depletion_mm, et_mm, taw_mm, raw_mm)
        depletion_mm -= day_net_mm * (durations_min[place] / running_min)
        share = shares[place]
    return depletion_after_et(depletion_mm, crop_et_mm * (1.0 - share), taw_mm, raw_mm)


class DayStep(NamedTuple):
    """One day of one block; the names are those of :class:`DayBookings`."""

    resize_mm: float
    rain_drainage_mm: float
    irrigation_drainage_mm: float
    stress_ratio: float
    actual_crop_et_mm: float
    depletion_end_mm: float


@compiled
def day_step(
    depletion_mm: float,
    taw_mm: float,
    raw_mm: float,
    rain_mm: float,
    crop_et_mm: float,
    early_net_mm: float,
    day_net_mm: float,
    shares: Floats,
    durations_min: Floats,
    own: tuple[int, int],
) -> DayStep:
    """Book one day: rain, the water before sunrise, then ET and the pulses of the day."""
    resized_mm = min(depletion_mm, taw_mm)
    after_rain_mm = resized_mm - rain_mm
    after_early_mm = max(0.0, after_rain_mm) - early_net_mm
    sunrise_mm = max(0.0, after_early_mm)

    actual_mm = crop_et_mm
    if sunrise_mm + crop_et_mm > raw_mm:
        end_mm = pulse_course(
            sunrise_mm, crop_et_mm, day_net_mm, taw_mm, raw_mm, shares, durations_min, own
        )
        used_mm = max(0.0, end_mm - sunrise_mm + day_net_mm)
        if used_mm < crop_et_mm - SMALLEST_MM:
            actual_mm = used_mm
    if crop_et_mm > 0.0:
        ratio = actual_mm / crop_et_mm
    else:
        ratio = stress_coefficient(sunrise_mm, taw_mm, raw_mm)
    after_day_mm = sunrise_mm + actual_mm - day_net_mm
    return DayStep(
        resized_mm - depletion_mm,
        max(0.0, -after_rain_mm),
        max(0.0, -after_early_mm) + max(0.0, -after_day_mm),
        ratio,
        actual_mm,
        # The bound by TAW holds already, except for rounding in the last bit.
        min(max(0.0, after_day_mm), taw_mm),
    )


@compiled
def book_days(
    depletion_start_mm: Floats,
    first_day_index: Ints,
    terms: DayTerms,
    offset: Ints,
    shares: Floats,
    durations_min: Floats,
    bookings: DayBookings,
) -> None:
    """Fill the bookings of every block from its first day on.

    ``offset`` (days x blocks + 1,) bounds the pulses of each day and block that do not start before
    sunrise, day by day. Bookings before a block's first day, and from an unknown number on, stay.
    """
    taws_mm, raws_mm, rains_mm, crop_ets_mm, early_nets_mm, day_nets_mm = terms
    starts_mm, resizes_mm, rain_drained_mm, drained_mm, ratios, actuals_mm, ends_mm = bookings
    day_count, block_count = taws_mm.shape
    for block in range(block_count):
        depletion_mm = depletion_start_mm[block]
        for day in range(first_day_index[block], day_count):
            taw_mm, raw_mm = taws_mm[day, block], raws_mm[day, block]
            rain_mm, crop_et_mm = rains_mm[day, block], crop_ets_mm[day, block]
            early_mm, day_mm = early_nets_mm[day, block], day_nets_mm[day, block]
            starts_mm[day, block] = depletion_mm
            if math.isnan(
                depletion_mm + taw_mm + raw_mm + rain_mm + crop_et_mm + early_mm + day_mm
            ):
                break
            cell = day * block_count + block
            own = (offset[cell], offset[cell + 1])
            step = day_step(
                depletion_mm, taw_mm, raw_mm, rain_mm, crop_et_mm, early_mm, day_mm,
                shares, durations_min, own,
            )  # fmt: skip
            resizes_mm[day, block] = step.resize_mm
            rain_drained_mm[day, block] = step.rain_drainage_mm
            drained_mm[day, block] = step.irrigation_drainage_mm
            ratios[day, block] = step.stress_ratio
            actuals_mm[day, block] = step.actual_crop_et_mm
            ends_mm[day, block] = depletion_mm = step.depletion_end_mm
