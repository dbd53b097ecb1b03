"""Compiled search for the program of a week with the least cost, for each block or supply.

In: the days ahead, what each timer can be set to, which blocks have to take turns. Out: the days,
the number of starts and the steps of run time. :mod:`service.agronomy.week_program` says what is
chosen and why.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats, Ints
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
def change_days(best: Choice, trial: Trial) -> Choice:
    """The best days near those chosen: a day more, a day less, a day for another."""
    is_better = True
    while is_better:
        is_better = False
        around = best
        starts_a_week = around.step_count * count_days(around.day_mask)
        for one in range(WEEK_DAYS):
            for other in range(one, WEEK_DAYS):
                mask = around.day_mask ^ (1 << one)
                if other != one:
                    mask ^= 1 << other
                    if count_days(mask) != count_days(around.day_mask):
                        continue
                if mask == 0:
                    continue
                found = try_days(trial, mask, starts_a_week)
                if found.cost < best.cost - SIMPLER_MM:
                    best, is_better = found, True
    return best


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
def refine(trial: Trial, best: Choice, day_rule: int) -> Choice:
    """The best days near those chosen, where the timer takes any weekdays."""
    if day_rule != ANY_WEEKDAYS or best.day_mask == 0:
        return best
    return change_days(best, trial)


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


@compiled
def take_turns(flow_l_per_h: Floats, supply_flow_l_per_h: float) -> Ints:
    """Turn of each block of a supply: blocks of one turn run together, the largest placed first."""
    order = np.argsort(-flow_l_per_h)
    turn = np.zeros(flow_l_per_h.shape[0], np.int64)
    used_l_per_h = np.zeros(flow_l_per_h.shape[0])
    for place in order:
        at = 0
        while used_l_per_h[at] > 0.0 and (
            used_l_per_h[at] + flow_l_per_h[place] > supply_flow_l_per_h * (1.0 + 1e-9)
        ):
            at += 1
        turn[place] = at
        used_l_per_h[at] += flow_l_per_h[place]
    return turn


@compiled
def choose_in_turns(
    days: WeekAhead,
    timers: TimerBatch,
    masks: Ints,
    blocks: Ints,
    turn: Ints,
    out: WeekProgram,
) -> None:
    """Programs of blocks that run one turn after the other, equally often a day.

    Turn follows turn within each cycle. What the turns need is found first for each block alone;
    where that is longer than the cycle all are cut to one share of it.
    """
    turn_count = turn.max() + 1
    best_cost = np.inf
    most_starts = timers.most_starts[blocks].min()
    open_min = timers.closes_min[blocks[0]] - timers.opens_min[blocks[0]]
    gap_min = timers.valve_gap_min[blocks].max()
    for start_count in range(1, most_starts + 1):
        cycle_min = float(open_min // start_count)
        running_min = cycle_min - gap_min * turn_count
        if running_min <= 0.0:
            break
        choices = [Choice(0, 0, 0, 0.0) for _ in blocks]
        share = 1.0
        for _ in range(2):
            longest_min = np.zeros(turn_count)
            for place, block in enumerate(blocks):
                offset_min = turn[place] * cycle_min / turn_count
                if share < 1.0:
                    own_min = choices[place].step_count * timers.run_step_min[block] * share
                else:
                    own_min = running_min
                trial = make_trial(days, timers, block, start_count, offset_min, own_min)
                rule = timers.day_rule[block]
                choices[place] = refine(trial, choose_steps(trial, masks[rule]), rule)
                ran_min = choices[place].step_count * timers.run_step_min[block]
                longest_min[turn[place]] = max(longest_min[turn[place]], ran_min)
            if longest_min.sum() <= running_min:
                break
            share = running_min / longest_min.sum()
        cost = 0.0
        for each in choices:
            cost += each.cost
        if cost < best_cost - SIMPLER_MM * blocks.shape[0]:
            best_cost = cost
            begins_min = np.zeros(turn_count, np.int64)
            for at in range(1, turn_count):
                begins_min[at] = begins_min[at - 1] + int(np.ceil(longest_min[at - 1])) + gap_min
            for place, block in enumerate(blocks):
                keep(out, days, timers, block, choices[place], begins_min[turn[place]])
