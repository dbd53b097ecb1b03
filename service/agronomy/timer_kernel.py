"""Compiled search for the program of a week with the least cost, for each block or supply.

In: the days ahead, what each timer can be set to, which blocks have to take turns. Out: the days,
the number of starts and the steps of run time. :mod:`service.agronomy.week_program` says what is
chosen and why.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Ints
from service.agronomy.run_time_kernel import Choice, Trial, best_steps, cost_of
from service.agronomy.week_ahead import WEEK_DAYS, DayRule, TimerBatch, WeekAhead, WeekProgram
from service.agronomy.week_kernel import cost_rules, make_starts, week_course
from service.agronomy.weekday_kernel import any_days
from service.kernels import compiled

SIMPLER_MM = 0.05
"""[CHOICE] A further start or another set of days has to save this much to be chosen."""
ANY_WEEKDAYS = int(DayRule.WEEKDAYS)


@compiled
def most_steps(timers: TimerBatch, block: int, start_count: int, slot_min: float) -> int:
    """Longest run time, in steps of the timer, of each of so many starts in slots so long."""
    open_min = timers.closes_min[block] - timers.opens_min[block]
    most_min = min(slot_min, timers.longest_pulse_min[block])
    most_min = min(most_min, timers.daily_maximum_min[block] / start_count)
    if start_count > 1:
        cycle_min = open_min // start_count
        most_min = min(most_min, cycle_min / (1.0 + timers.off_ratio[block]))
    return int(most_min / timers.run_step_min[block] + 1e-9)


@compiled
def count_days(mask: int) -> int:
    """Number of days that a mask holds."""
    count = 0
    while mask:
        count += mask & 1
        mask >>= 1
    return count


@compiled
def try_days(trial: Trial, day_mask: int, starts_a_week: int) -> Choice:
    """The best run time on these days; ``starts_a_week`` is a guess of its steps in all."""
    steps, cost = best_steps(trial, day_mask, starts_a_week // count_days(day_mask))
    start_count = trial.starts.durations.shape[0] // trial.days.taw_mm.shape[0]
    return Choice(day_mask, start_count, steps, cost)


@compiled
def make_trial(
    days: WeekAhead,
    timers: TimerBatch,
    block: int,
    start_count: int,
    offset_min: float,
    slot_min: float,
) -> Trial:
    """What is tried for a block that starts so often a day, in slots so long."""
    step_min = timers.run_step_min[block]
    spacing_min = (timers.closes_min[block] - timers.opens_min[block]) // start_count
    first_start_min = timers.opens_min[block] + offset_min
    return Trial(
        days,
        block,
        make_starts(days, block, start_count, first_start_min, spacing_min),
        step_min * timers.net_rate_mm_per_min[block],
        int(np.ceil(timers.shortest_pulse_min[block] / step_min - 1e-9)),
        most_steps(timers, block, start_count, slot_min),
        cost_rules(days, timers, block),
    )


@compiled
def choose_steps(trial: Trial, masks: Ints) -> Choice:
    """The best of the sets of days, each with its best run time; off where none pays."""
    best = Choice(0, 0, 0, cost_of(trial, 0, 0, np.inf))
    if trial.most_steps < trial.least_steps:
        return best
    starts_a_week = (trial.least_steps + trial.most_steps) // 2 * WEEK_DAYS
    for mask in masks:
        if mask == 0:
            break
        found = try_days(trial, mask, starts_a_week)
        starts_a_week = found.step_count * count_days(mask)
        if found.cost < best.cost - SIMPLER_MM:
            best = found
    return best


@compiled
def keep(
    programs: WeekProgram,
    days: WeekAhead,
    timers: TimerBatch,
    block: int,
    choice: Choice,
    offset_min: int,
) -> None:
    """Write a choice down, with the course that it leads to."""
    start_count = max(1, choice.start_count)
    spacing_min = (timers.closes_min[block] - timers.opens_min[block]) // start_count
    first_start_min = timers.opens_min[block] + offset_min
    run_min = choice.step_count * timers.run_step_min[block]
    course = week_course(
        days,
        block,
        choice.day_mask,
        make_starts(days, block, start_count, first_start_min, spacing_min),
        run_min * timers.net_rate_mm_per_min[block],
        cost_rules(days, timers, block),
        np.inf,
    )
    programs.day_mask[block] = choice.day_mask
    programs.start_count[block] = choice.start_count
    programs.first_start_min[block] = first_start_min
    programs.spacing_min[block] = spacing_min
    programs.run_min[block] = run_min
    programs.cost_mm[block] = course.cost
    programs.excess_mm[block] = course.excess_mm
    programs.drainage_mm[block] = course.drainage_mm
    programs.depletion_end_mm[block] = course.depletion_end_mm


@compiled
def choose_alone(
    days: WeekAhead, timers: TimerBatch, masks: Ints, block: int, out: WeekProgram
) -> None:
    """The program of a block that never has to wait for another.

    Of all that are found the first, in the order of what is easier to set, that costs hardly more
    than the best: few starts before many, days spread evenly before any others.
    """
    rule = timers.day_rule[block]
    open_min = float(timers.closes_min[block] - timers.opens_min[block])
    most_starts = timers.most_starts[block]
    choices = [Choice(0, 0, 0, np.inf) for _ in range(2 * most_starts)]
    even_costs = np.zeros(most_starts)
    for place in range(most_starts):
        trial = make_trial(days, timers, block, place + 1, 0.0, open_min)
        choices[2 * place] = choose_steps(trial, masks[rule])
        even_costs[place] = choices[2 * place].cost
    least = even_costs.min()
    for place in np.argsort(even_costs, kind="mergesort"):
        if rule != ANY_WEEKDAYS or least <= SIMPLER_MM:
            break
        trial = make_trial(days, timers, block, place + 1, 0.0, open_min)
        found = any_days(trial, min(even_costs[place], least + SIMPLER_MM))
        if found.day_mask > 0:
            choices[2 * place + 1] = found
            least = min(least, found.cost)
    # Nothing costs less than nothing: what saves less than that is not looked for.
    most = SIMPLER_MM if least <= SIMPLER_MM else least + SIMPLER_MM
    for each in choices:
        if each.cost <= most:
            keep(out, days, timers, block, each, 0)
            break
