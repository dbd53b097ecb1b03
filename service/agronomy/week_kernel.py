"""Compiled course of a week under one program: the same pulses on the days on which a timer runs.

In: a block's depletion, the coming days in one or more courses of the weather, a program. Out: what
it costs, drains and leaves. :mod:`service.agronomy.week_program` says what is chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.agronomy.balance_kernel import day_step
from service.agronomy.records import Floats, Ints
from service.agronomy.stress_kernel import et_share
from service.agronomy.week_ahead import WEEK_DAYS, TimerBatch, WeekAhead, WeekProgram
from service.kernels import compiled

STRESS_COST = 10.0
"""[CHOICE] Cost of a millimetre below readily available water at a midnight, in mm of drainage; it
counts in the course of the weather that is as dry as the block's safety asks for."""
CATCH_UP_COST = 0.1
"""[CHOICE] Cost of a millimetre that the week leaves to be put back afterwards."""
WEIGHT_ROUNDING = 1e-9


class Starts(NamedTuple):
    """When the pulses of one block start, for a number of them a day."""

    pulses_before_sunrise: Ints
    """(days,) pulses before sunrise."""
    shares: Floats
    """(days x pulses,) share of the day's ET that has passed at each start."""
    durations: Floats
    """(days x pulses,) all the same, since all pulses of a program last equally long."""


class CostRules(NamedTuple):
    """What the cost of a block's week depends on beside the days."""

    rain_room_fraction: float
    safe_course: int
    open_day_mask: int
    """Bits of the days on which there is water; what runs on others gives none."""


class WeekCourse(NamedTuple):
    """What a program leads to, means over the courses but for the excess [mm]."""

    cost: float
    """Infinite where it passed the limit, and the rest was left out."""
    excess_mm: float
    """Depletion beyond readily available water in the safe course, summed over the midnights."""
    drainage_mm: float
    depletion_end_mm: float


@compiled
def make_starts(
    days: WeekAhead, block: int, start_count: int, first_start_min: float, spacing_min: float
) -> Starts:
    """The pulses of a day as the balance reads them, for each of the days."""
    day_count = days.taw_mm.shape[0]
    pulses_before_sunrise = np.zeros(day_count, np.int64)
    shares = np.zeros(day_count * start_count)
    for day in range(day_count):
        sunrise_min, sunset_min = days.sunrise_min[day, block], days.sunset_min[day, block]
        for place in range(start_count):
            start_min = first_start_min + place * spacing_min
            if start_min < sunrise_min:
                pulses_before_sunrise[day] += 1
            shares[day * start_count + place] = et_share(start_min, sunrise_min, sunset_min)
    return Starts(pulses_before_sunrise, shares, np.ones(day_count * start_count))


@compiled
def safe_course(days: WeekAhead, block: int, safety_fraction: float) -> int:
    """The course that all but the driest are no drier than, with the probability asked for.

    Dry is a week of much use and little rain. A depletion rises with both, so that what holds in
    this course holds in every wetter one.
    """
    course_count = days.rain_entering_mm.shape[0]
    lacking_mm = np.zeros(course_count)
    for course in range(course_count):
        for day in range(days.taw_mm.shape[0]):
            lacking_mm[course] += days.crop_et_mm[course, day, block]
            lacking_mm[course] -= days.rain_entering_mm[course, day, block]
    drier = 0.0
    order = np.argsort(-lacking_mm, kind="mergesort")
    for course in order:
        drier += days.course_weight[course, block]
        if drier > 1.0 - safety_fraction + WEIGHT_ROUNDING:
            return int(course)
    return int(order[course_count - 1])


@compiled
def cost_rules(days: WeekAhead, timers: TimerBatch, block: int) -> CostRules:
    """The rules by which the week of a block is judged."""
    return CostRules(
        timers.rain_room_fraction[block],
        safe_course(days, block, timers.safety_fraction[block]),
        timers.open_day_mask[block],
    )


@compiled
def day_cost(
    drainage_mm: float,
    depletion_end_mm: float,
    raw_mm: float,
    is_safe: bool,
    weight: float,
    rain_room_mm: float,
) -> float:
    """Cost of a day in one course of the weather; ``rain_room_mm`` is infinite before the last day.

    It takes numbers only: arrays handed on within the search take longer than all its sums.
    """
    cost = weight * drainage_mm
    if is_safe:
        cost += STRESS_COST * max(0.0, depletion_end_mm - raw_mm)
    return cost + CATCH_UP_COST * weight * max(0.0, depletion_end_mm - rain_room_mm)


@compiled
def quiet_day(
    depletion_mm: float,
    taw_mm: float,
    raw_mm: float,
    rain_mm: float,
    crop_et_mm: float,
    early_net_mm: float,
    day_net_mm: float,
) -> tuple[float, float]:
    """Depletion at the end of a day without stress, and what drained in it, as in ``day_step``.

    The depletion is below 0 where there may be stress: then the step itself has to be taken. Most
    days of a search have none, and numbers without arrays cost half the time of the step.
    """
    after_rain_mm = min(depletion_mm, taw_mm) - rain_mm
    after_early_mm = max(0.0, after_rain_mm) - early_net_mm
    sunrise_mm = max(0.0, after_early_mm)
    if sunrise_mm + crop_et_mm > raw_mm:
        return -1.0, 0.0
    after_day_mm = sunrise_mm + crop_et_mm - day_net_mm
    irrigation_drained_mm = max(0.0, -after_early_mm) + max(0.0, -after_day_mm)
    return max(0.0, after_day_mm), irrigation_drained_mm + max(0.0, -after_rain_mm)


@compiled
def week_course(
    days: WeekAhead,
    block: int,
    day_mask: int,
    starts: Starts,
    pulse_net_mm: float,
    rules: CostRules,
    limit: float,
) -> WeekCourse:
    """Step one block through the days with a program, in each course of the weather.

    A cost that passes the limit is not worked out to its end.
    """
    day_count = days.taw_mm.shape[0]
    pulse_count = starts.durations.shape[0] // day_count
    cost, excess_mm, drainage_mm, end_mm = 0.0, 0.0, 0.0, 0.0
    for course in range(days.rain_entering_mm.shape[0]):
        weight = days.course_weight[course, block]
        is_safe = course == rules.safe_course
        if weight <= 0.0 and not is_safe:
            continue
        depletion_mm = days.depletion_start_mm[block]
        for day in range(day_count):
            raw_mm = days.raw_mm[day, block]
            early_mm, day_mm, pulses_before_sunrise = 0.0, 0.0, 0
            if day_mask & rules.open_day_mask & (1 << (day % WEEK_DAYS)):
                pulses_before_sunrise = starts.pulses_before_sunrise[day]
                early_mm = pulse_net_mm * pulses_before_sunrise
                day_mm = pulse_net_mm * (pulse_count - pulses_before_sunrise)
            taw_mm = days.taw_mm[day, block]
            rain_mm = days.rain_entering_mm[course, day, block]
            et_mm = days.crop_et_mm[course, day, block]
            end_of_day_mm, drained_mm = quiet_day(
                depletion_mm, taw_mm, raw_mm, rain_mm, et_mm, early_mm, day_mm
            )
            if end_of_day_mm < 0.0:
                own = (day * pulse_count + pulses_before_sunrise, (day + 1) * pulse_count)
                step = day_step(
                    depletion_mm, taw_mm, raw_mm, rain_mm, et_mm, early_mm, day_mm,
                    starts.shares, starts.durations, own,
                )  # fmt: skip
                end_of_day_mm = step.depletion_end_mm
                drained_mm = step.irrigation_drainage_mm + step.rain_drainage_mm
            depletion_mm = end_of_day_mm
            drainage_mm += weight * drained_mm
            if is_safe:
                excess_mm += max(0.0, depletion_mm - raw_mm)
            rain_room_mm = rules.rain_room_fraction * raw_mm if day == day_count - 1 else np.inf
            cost += day_cost(drained_mm, depletion_mm, raw_mm, is_safe, weight, rain_room_mm)
            if cost > limit:
                return WeekCourse(np.inf, excess_mm, drainage_mm, depletion_mm)
        end_mm += weight * depletion_mm
    return WeekCourse(cost, excess_mm, drainage_mm, end_mm)


@compiled
def assess(
    days: WeekAhead,
    is_known: NDArray[np.bool_],
    program: WeekProgram,
    pulse_net_mm: Floats,
    timers: TimerBatch,
    found: Floats,
) -> None:
    """Fill ``found`` (4, blocks) with the cost and the course of given programs."""
    for block in range(is_known.shape[0]):
        if not is_known[block]:
            continue
        start_count = program.start_count[block]
        starts = make_starts(
            days, block, max(1, start_count), float(program.first_start_min[block]),
            float(program.spacing_min[block]),
        )  # fmt: skip
        mask = program.day_mask[block] if start_count > 0 else 0
        rules = cost_rules(days, timers, block)
        course = week_course(days, block, mask, starts, pulse_net_mm[block], rules, np.inf)
        found[0, block] = course.cost
        found[1, block] = course.excess_mm
        found[2, block] = course.drainage_mm
        found[3, block] = course.depletion_end_mm
