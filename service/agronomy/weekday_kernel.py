"""Compiled search through all sets of weekdays for the program of a week with the least cost.

In: what is tried for a block that starts so often a day. Out: the days and the run time.
:mod:`service.agronomy.week_program` says what is chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.balance_kernel import day_step
from service.agronomy.records import Floats
from service.agronomy.run_time_kernel import Choice, Trial, best_steps
from service.agronomy.week_ahead import WEEK_DAYS
from service.agronomy.week_kernel import day_cost, quiet_day
from service.kernels import compiled

RUN_TIME_RATIO = 0.05
"""[CHOICE] How far apart the run times are at which the days are chosen."""
ROUNDING_MM = 1e-9


class WeekTables(NamedTuple):
    """What the search reads of one block's days, close together in memory."""

    terms: Floats
    """(days, courses, 5) TAW, RAW, rain that enters, crop ET and the course's probability."""
    depletion_mm: Floats
    """(days + 1, courses) at the midnights of the days that are being tried."""


@compiled
def tables_of(trial: Trial) -> WeekTables:
    """The days of one block, with its depletion at the first midnight."""
    days, block = trial.days, trial.block
    day_count, course_count = days.taw_mm.shape[0], days.course_weight.shape[0]
    terms = np.zeros((day_count, course_count, 5))
    for day in range(day_count):
        for course in range(course_count):
            terms[day, course, 0] = days.taw_mm[day, block]
            terms[day, course, 1] = days.raw_mm[day, block]
            terms[day, course, 2] = days.rain_entering_mm[course, day, block]
            terms[day, course, 3] = days.crop_et_mm[course, day, block]
            terms[day, course, 4] = days.course_weight[course, block]
    depletion_mm = np.zeros((day_count + 1, course_count))
    depletion_mm[0] = days.depletion_start_mm[block]
    return WeekTables(terms, depletion_mm)


@compiled
def best_days(trial: Trial, steps: int, limit: float, tables: WeekTables) -> tuple[int, float]:
    """Of all sets of days the one that costs least with this run time, and its cost.

    Sets that begin alike are stepped through their common days once. The cost of a week only grows
    from day to day, so that all sets with a beginning that costs more than the best one are left
    out. The set is 0 where none costs less than the limit.
    """
    terms, depletion_mm = tables
    day_count = terms.shape[0]
    shares, durations, before_sunrise = (
        trial.starts.shares, trial.starts.durations, trial.starts.pulses_before_sunrise,
    )  # fmt: skip
    safe, room_fraction = trial.rules.safe_course, trial.rules.rain_room_fraction
    open_day_mask = trial.rules.open_day_mask
    pulse_count = durations.shape[0] // day_count
    pulse_net_mm = steps * trial.step_net_mm
    costs = np.zeros(day_count + 1)
    best, best_cost = 0, limit
    # The first day is the highest bit, so that the next number changes the last days first.
    number, day = 1, 0
    while number < 1 << day_count:
        while day < day_count and costs[day] < best_cost:
            early_mm, day_mm, early = 0.0, 0.0, 0
            if number & (1 << (day_count - 1 - day)) and open_day_mask & (1 << day):
                early = before_sunrise[day]
                early_mm, day_mm = pulse_net_mm * early, pulse_net_mm * (pulse_count - early)
            own = (day * pulse_count + early, (day + 1) * pulse_count)
            costs[day + 1] = costs[day]
            for place in range(terms.shape[1]):
                # The course as dry as the safety asks for comes first: it ends most beginnings.
                course = safe if place == 0 else place - (place <= safe)
                weight, raw_mm = terms[day, course, 4], terms[day, course, 1]
                if weight <= 0.0 and course != safe:
                    continue
                taw_mm, start_mm = terms[day, course, 0], depletion_mm[day, course]
                rain_mm, et_mm = terms[day, course, 2], terms[day, course, 3]
                end_mm, drained_mm = quiet_day(
                    start_mm, taw_mm, raw_mm, rain_mm, et_mm, early_mm, day_mm
                )
                if end_mm < 0.0:
                    step = day_step(
                        start_mm, taw_mm, raw_mm, rain_mm, et_mm, early_mm, day_mm,
                        shares, durations, own,
                    )  # fmt: skip
                    end_mm = step.depletion_end_mm
                    drained_mm = step.irrigation_drainage_mm + step.rain_drainage_mm
                depletion_mm[day + 1, course] = end_mm
                rain_room_mm = room_fraction * raw_mm if day == day_count - 1 else np.inf
                costs[day + 1] += day_cost(
                    drained_mm, end_mm, raw_mm, course == safe, weight, rain_room_mm
                )
                if costs[day + 1] >= best_cost:
                    break
            day += 1
        if costs[day] < best_cost:
            best, best_cost = number, costs[day]
        following = ((number >> (day_count - day)) + 1) << (day_count - day)
        day = first_change(number ^ following, day_count)
        number = following
    return mask_of(best, day_count), best_cost


@compiled
def first_change(changed: int, day_count: int) -> int:
    """The first day that changes, of numbers whose highest bit is the first day."""
    day = day_count
    while changed > 0:
        changed >>= 1
        day -= 1
    return day


@compiled
def mask_of(number: int, day_count: int) -> int:
    """The mask of days whose first is the highest bit; days beyond those known repeat them."""
    mask = 0
    for day in range(WEEK_DAYS):
        if number & (1 << (day_count - 1 - day % day_count)):
            mask |= 1 << day
    return mask


@compiled
def next_steps(steps: int, most_steps: int) -> int:
    """The next run time at which the days are chosen: the longest too, which many have to take."""
    following = steps + max(1, int(steps * RUN_TIME_RATIO))
    return min(following, max(most_steps, steps + 1))


@compiled
def any_days(trial: Trial, limit: float) -> Choice:
    """The best of all sets of days; without a day where none costs less than the limit.

    The days are chosen at run times a little apart, and the run time then for the days; near the
    best of them, where a step of the timer can change the days, at every run time.
    """
    best = Choice(0, 0, 0, limit)
    start_count = trial.starts.durations.shape[0] // trial.days.taw_mm.shape[0]
    tables = tables_of(trial)
    steps = trial.least_steps
    while steps <= trial.most_steps:
        mask, cost = best_days(trial, steps, best.cost, tables)
        if mask > 0:
            refined, cost = best_steps(trial, mask, steps)
            best = Choice(mask, start_count, refined, cost)
        steps = next_steps(steps, trial.most_steps)
    near, apart = best.step_count, max(1, int(best.step_count * RUN_TIME_RATIO))
    first, last = max(trial.least_steps, near - apart), min(trial.most_steps, near + apart)
    for steps in range(first, last + 1 if best.day_mask > 0 else first):
        mask, cost = best_days(trial, steps, best.cost - ROUNDING_MM, tables)
        if mask > 0:
            refined, cost = best_steps(trial, mask, steps)
            if cost < best.cost:
                best = Choice(mask, start_count, refined, cost)
    return best
