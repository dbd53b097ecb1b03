"""Compiled search for the programs of blocks that take turns on a supply.

In: the days ahead, what each timer can be set to, which block runs in which turn. Out: programs
that start equally often a day, turn after turn. :mod:`service.agronomy.week_program` says what is
chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.records import Floats, Ints
from service.agronomy.run_time_kernel import Choice, Trial, cost_of
from service.agronomy.timer_kernel import (
    ANY_WEEKDAYS,
    SIMPLER_MM,
    change_start,
    choose_steps,
    count_days,
    keep,
    make_trial,
    try_days,
    until_sunrise,
)
from service.agronomy.turn_room_kernel import divide_cycle, packed
from service.agronomy.week_ahead import TimerBatch, WeekAhead, WeekProgram
from service.agronomy.weekday_kernel import any_days, best_days, next_steps, tables_of
from service.kernels import compiled

TIME_COUNT = 4
"""[CHOICE] At so many times of a cycle the cost of a turn is known where turns are divided."""


class Shared(NamedTuple):
    """Blocks that take turns on a supply, and the cycle in which every turn runs once."""

    days: WeekAhead
    timers: TimerBatch
    masks: Ints
    """(rules, masks) the sets of days that are tried first."""
    blocks: Ints
    turn: Ints
    """(blocks,) of each of them."""
    start_count: int
    """Cycles a day."""
    room_min: int
    """Minutes that the turns of a cycle have together, without the gaps between them."""
    gap_min: int


class TurnPrograms(NamedTuple):
    """A program of each block, arrays (blocks,), and when its turn begins."""

    day_mask: Ints
    step_count: Ints
    cost: Floats
    begins_min: Ints
    """(turns,) from the start of a cycle."""
    start_count: int


@compiled
def best_program(trial: Trial, masks: Ints, day_rule: int) -> Choice:
    """The days and run time of least cost."""
    best = choose_steps(trial, masks, 0.0)
    if day_rule == ANY_WEEKDAYS:
        found = any_days(trial, best.cost)
        if found.day_mask > 0:
            return found
    return best


@compiled
def least_by_length(trial: Trial, masks: Ints, day_rule: int, run_step_min: float) -> Floats:
    """(minutes + 1,) least cost of a block whose turn lasts at most so many whole minutes.

    The days are chosen at run times a twentieth apart, as in :func:`any_days`; those between take
    the days of the one before.
    """
    longest_min = int(np.ceil(max(0, trial.most_steps) * run_step_min))
    costs = np.full(longest_min + 1, np.inf)
    best = cost_of(trial, 0, 0, np.inf)
    costs[0] = best
    tables = tables_of(trial)
    steps = trial.least_steps
    while steps <= trial.most_steps:
        mask, following = 0, next_steps(steps, trial.most_steps)
        if day_rule == ANY_WEEKDAYS:
            mask, _ = best_days(trial, steps, best, tables)
        else:
            least = best
            for each in masks:
                if each == 0:
                    break
                cost = cost_of(trial, each, steps, least)
                if cost < least:
                    mask, least = each, cost
        for near in range(steps, following if mask > 0 else steps):
            best = min(best, cost_of(trial, mask, near, np.inf))
            place = int(np.ceil(near * run_step_min))
            costs[place] = min(costs[place], best)
        steps = following
    for place in range(1, costs.shape[0]):
        costs[place] = min(costs[place], costs[place - 1])
    return costs


@compiled
def share_cycle(
    days: WeekAhead, timers: TimerBatch, masks: Ints, blocks: Ints, turn: Ints, start_count: int
) -> Shared:
    """The blocks of a supply with so many cycles a day."""
    cycle_min = (timers.closes_min[blocks[0]] - timers.opens_min[blocks[0]]) // start_count
    gap_min = timers.valve_gap_min[blocks].max()
    room_min = cycle_min - gap_min * (turn.max() + 1)
    return Shared(days, timers, masks, blocks, turn, start_count, room_min, gap_min)


@compiled
def no_programs(shared: Shared, begins_min: Ints) -> TurnPrograms:
    """Programs to be filled in, of turns that begin then."""
    count = shared.blocks.shape[0]
    return TurnPrograms(
        np.zeros(count, np.int64),
        np.zeros(count, np.int64),
        np.full(count, np.inf),
        begins_min,
        shared.start_count,
    )


@compiled
def trial_of(shared: Shared, place: int, begins_min: int, most_min: int) -> Trial:
    """What is tried for one of the blocks, if its turn begins and lasts so long."""
    block, start_count = shared.blocks[place], shared.start_count
    return make_trial(
        shared.days, shared.timers, block, start_count, float(begins_min), float(most_min)
    )


@compiled
def lengths_of(shared: Shared, programs: TurnPrograms) -> Ints:
    """(turns,) whole minutes of the longest run of each."""
    lengths_min = np.zeros(shared.turn.max() + 1, np.int64)
    for place, block in enumerate(shared.blocks):
        run_min = int(np.ceil(programs.step_count[place] * shared.timers.run_step_min[block]))
        lengths_min[shared.turn[place]] = max(lengths_min[shared.turn[place]], run_min)
    return lengths_min


@compiled
def room_until_next(shared: Shared, begins_min: Ints) -> Ints:
    """(turns,) minutes from the beginning of each to the gap before the next one."""
    lengths_min = np.zeros(begins_min.shape[0], np.int64)
    ends_min = shared.room_min + shared.gap_min * begins_min.shape[0]
    for turn in range(begins_min.shape[0] - 1, -1, -1):
        lengths_min[turn] = ends_min - shared.gap_min - begins_min[turn]
        ends_min = begins_min[turn]
    return lengths_min


@compiled
def search_turns(shared: Shared, begins_min: Ints, lengths_min: Ints) -> TurnPrograms:
    """The best program of each block, where its turn begins then and lasts at most so long."""
    found = no_programs(shared, begins_min)
    for place, block in enumerate(shared.blocks):
        turn, rule = shared.turn[place], shared.timers.day_rule[block]
        trial = trial_of(shared, place, begins_min[turn], lengths_min[turn])
        best = best_program(trial, shared.masks[rule], rule)
        found.day_mask[place], found.step_count[place] = best.day_mask, best.step_count
        found.cost[place] = best.cost
    return found


@compiled
def moved(shared: Shared, programs: TurnPrograms, begins_min: Ints) -> TurnPrograms:
    """Programs whose turns begin at other times, which leave each as long as it was or longer."""
    found, lengths_min = no_programs(shared, begins_min), room_until_next(shared, begins_min)
    for place, block in enumerate(shared.blocks):
        turn, rule = shared.turn[place], shared.timers.day_rule[block]
        mask, steps = programs.day_mask[place], programs.step_count[place]
        choice = Choice(mask, shared.start_count, steps, programs.cost[place])
        if mask > 0:
            trial = trial_of(shared, place, begins_min[turn], lengths_min[turn])
            choice = change_start(trial, shared.masks[rule], choice)
        found.day_mask[place], found.step_count[place] = choice.day_mask, choice.step_count
        found.cost[place] = choice.cost
    return found


@compiled
def divided(shared: Shared, sunrise_min: int) -> TurnPrograms:
    """Programs of turns whose times and lengths are chosen together.

    What each block costs, with its best days, is known for every length of its turn at a few times
    of the cycle; the programs themselves are searched where the turns then begin.
    """
    turn_count = shared.turn.max() + 1
    cycle_min = shared.room_min + shared.gap_min * turn_count
    from_min = np.zeros(TIME_COUNT, np.int64)
    for at in range(1, TIME_COUNT):
        after_min = (cycle_min - sunrise_min) * (at - 1) // (TIME_COUNT - 1)
        from_min[at] = sunrise_min + after_min
    costs = np.zeros((turn_count, TIME_COUNT, shared.room_min + 1))
    for place, block in enumerate(shared.blocks):
        rule, step_min = shared.timers.day_rule[block], shared.timers.run_step_min[block]
        for at in range(TIME_COUNT):
            trial = trial_of(shared, place, int(from_min[at]), shared.room_min)
            own = least_by_length(trial, shared.masks[rule], rule, step_min)
            for minutes in range(shared.room_min + 1):
                costs[shared.turn[place], at, minutes] += own[min(minutes, own.shape[0] - 1)]
    begins_min, _ = divide_cycle(costs, from_min, cycle_min, shared.gap_min)
    return search_turns(shared, begins_min, room_until_next(shared, begins_min))


@compiled
def add_ways(shared: Shared, ways: list[TurnPrograms], least: float) -> float:
    """Add programs with so many cycles a day to the ways of watering; the least cost of all.

    Turns follow each other at once from the start of the cycle or from sunrise; the cycle is
    divided among them only where both cost more than each block's best from sunrise on, as if it
    had the cycle to itself. To wait longer where that is reached would save no water: it only
    lowers the depletion of midnights by what a crop that lacks water cannot use by day.
    """
    turn_count = shared.turn.max() + 1
    block, start_count = shared.blocks[0], shared.start_count
    sunrise_min = until_sunrise(shared.days, shared.timers, block, start_count)
    whole_min = np.full(turn_count, shared.room_min)
    free = search_turns(shared, np.full(turn_count, sunrise_min), whole_min)
    bound = free.cost.sum() + SIMPLER_MM
    lengths_min = lengths_of(shared, free)
    begins_min = packed(lengths_min, shared.gap_min)
    for wait_min in np.array([0, sunrise_min]):
        if bound < least and lengths_min.sum() + wait_min <= shared.room_min:
            ways.append(moved(shared, free, begins_min + wait_min))
            least = min(least, ways[-1].cost.sum())
    if bound < least:
        ways.append(divided(shared, sunrise_min))
        least = min(least, ways[-1].cost.sum())
    return least


@compiled
def keep_simplest(
    shared: Shared, programs: TurnPrograms, spare_mm: float, out: WeekProgram
) -> None:
    """Write programs down; off and evenly spread days are preferred where they cost hardly more."""
    lengths_min = room_until_next(shared, programs.begins_min)
    for place, block in enumerate(shared.blocks):
        turn, rule = shared.turn[place], shared.timers.day_rule[block]
        begins_min = programs.begins_min[turn]
        mask, steps, cost = (
            programs.day_mask[place],
            programs.step_count[place],
            programs.cost[place],
        )
        trial = trial_of(shared, place, begins_min, lengths_min[turn])
        steps_a_week, off_cost = steps * count_days(mask), cost_of(trial, 0, 0, np.inf)
        if off_cost <= cost + spare_mm:
            mask, steps, cost = 0, 0, off_cost
        for each in shared.masks[rule]:
            if each in (mask, 0) or mask == 0:
                break
            even = try_days(trial, each, steps_a_week)
            if even.cost <= cost + spare_mm:
                mask, steps, cost = each, even.step_count, even.cost
                break
        choice = Choice(mask, shared.start_count if mask > 0 else 0, steps, cost)
        keep(out, shared.days, shared.timers, block, choice, begins_min)


@compiled
def choose_in_turns(
    days: WeekAhead, timers: TimerBatch, masks: Ints, blocks: Ints, turn: Ints, out: WeekProgram
) -> None:
    """Programs of blocks that run one turn after the other, equally often a day.

    Of all ways that are found the first costs hardly more than the best: few cycles before many,
    from the start of the cycle before later.
    """
    least, shared = np.inf, share_cycle(days, timers, masks, blocks, turn, 1)
    ways = [no_programs(shared, np.zeros(turn.max() + 1, np.int64))]
    for start_count in range(1, timers.most_starts[blocks].min() + 1):
        shared = share_cycle(days, timers, masks, blocks, turn, start_count)
        if shared.room_min <= 0:
            break
        least = add_ways(shared, ways, least)
    # What is not looked for, since it saves too little, counts as one of the blocks.
    most = least + SIMPLER_MM * (blocks.shape[0] - 1)
    for way in ways:
        cost = way.cost.sum()
        if cost < np.inf and cost <= most:
            shared = share_cycle(days, timers, masks, blocks, turn, way.start_count)
            keep_simplest(shared, way, (most - cost) / blocks.shape[0], out)
            break
