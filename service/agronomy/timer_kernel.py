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
def choose_steps(trial: Trial, masks: Ints, saving_mm: float) -> Choice:
    """The best of the sets of days, each with its best run time; off where none pays.

    A set has to cost less than those before it by the saving.
    """
    best = Choice(0, 0, 0, cost_of(trial, 0, 0, np.inf))
    if trial.most_steps < trial.least_steps:
        return best
    starts_a_week = (trial.least_steps + trial.most_steps) // 2 * WEEK_DAYS
    for mask in masks:
        if mask == 0:
            break
        found = try_days(trial, mask, starts_a_week)
        starts_a_week = found.step_count * count_days(mask)
        if found.cost < best.cost - saving_mm:
            best = found
    return best


@compiled
def until_sunrise(days: WeekAhead, timers: TimerBatch, block: int, start_count: int) -> int:
    """How long starts have to wait for the one before sunrise that is nearest to it to follow it.

    Water before sunrise drains where the store is full, water after it meets the day's use.
    """
    open_min = timers.closes_min[block] - timers.opens_min[block]
    dark_min = int(np.ceil(days.sunrise_min[:, block].max())) - timers.opens_min[block]
    return dark_min % (open_min // start_count) if 0 < dark_min < open_min else 0


@compiled
def change_start(trial: Trial, masks: Ints, choice: Choice) -> Choice:
    """A program that starts at another time of the day: its own days, or an even set of them.

    Another set is tried with the same minutes a week.
    """
    steps, least = best_steps(trial, choice.day_mask, choice.step_count)
    mask, steps_a_week = choice.day_mask, steps * count_days(choice.day_mask)
    for each in masks:
        if each == 0:
            break
        alike = int(np.rint(steps_a_week / count_days(each)))
        alike = min(max(alike, trial.least_steps), trial.most_steps)
        cost = cost_of(trial, each, alike, least)
        if cost < least:
            mask, steps, least = each, alike, cost
    if mask != choice.day_mask:
        steps, least = best_steps(trial, mask, steps)
    return Choice(mask, choice.start_count, steps, least)


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
def wait_for_sunrise(
    days: WeekAhead, timers: TimerBatch, masks: Ints, block: int, choice: Choice
) -> Choice:
    """The program of a block alone if it waits for sunrise; infinitely dear where it cannot."""
    never = Choice(choice.day_mask, choice.start_count, choice.step_count, np.inf)
    if choice.day_mask == 0:
        return never
    wait_min = until_sunrise(days, timers, block, choice.start_count)
    cycle_min = (timers.closes_min[block] - timers.opens_min[block]) // choice.start_count
    trial = make_trial(
        days, timers, block, choice.start_count, float(wait_min), float(cycle_min - wait_min)
    )
    if wait_min == 0 or trial.most_steps < trial.least_steps:
        return never
    return change_start(trial, masks, choice)


@compiled
def choose_alone(
    days: WeekAhead, timers: TimerBatch, masks: Ints, block: int, out: WeekProgram
) -> None:
    """The program of a block that never has to wait for another.

    Of all that are found the first, in the order of what is easier to set, that costs hardly more
    than the best: few starts before many, days spread evenly before any others, the hour at which
    its window opens before sunrise.
    """
    rule = timers.day_rule[block]
    open_min = float(timers.closes_min[block] - timers.opens_min[block])
    most_starts = timers.most_starts[block]
    choices = [Choice(0, 0, 0, np.inf) for _ in range(3 * most_starts)]
    even_costs = np.zeros(most_starts)
    for place in range(most_starts):
        trial = make_trial(days, timers, block, place + 1, 0.0, open_min)
        choices[3 * place] = choose_steps(trial, masks[rule], SIMPLER_MM)
        even_costs[place] = choices[3 * place].cost
    least = even_costs.min()
    for place in np.argsort(even_costs, kind="mergesort"):
        if rule != ANY_WEEKDAYS or least <= SIMPLER_MM:
            break
        trial = make_trial(days, timers, block, place + 1, 0.0, open_min)
        found = any_days(trial, min(even_costs[place], least + SIMPLER_MM))
        if found.day_mask > 0:
            choices[3 * place + 1] = found
            least = min(least, found.cost)
    for place in range(most_starts if least > SIMPLER_MM else 0):
        even, found = choices[3 * place], choices[3 * place + 1]
        at_opening = even if even.cost <= found.cost else found
        later = wait_for_sunrise(days, timers, masks[rule], block, at_opening)
        choices[3 * place + 2] = later
        least = min(least, later.cost)
    # Nothing costs less than nothing: what saves less than that is not looked for.
    most = SIMPLER_MM if least <= SIMPLER_MM else least + SIMPLER_MM
    for at, each in enumerate(choices):
        if each.cost <= most:
            waits = at % 3 == 2
            wait_min = until_sunrise(days, timers, block, each.start_count) if waits else 0
            keep(out, days, timers, block, each, wait_min)
            break
