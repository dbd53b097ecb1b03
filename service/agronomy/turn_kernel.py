"""Compiled search for the programs of blocks that take turns on a supply.

In: the days ahead, what each timer can be set to, which block runs in which turn. Out: programs
that start equally often a day, turn after turn. :mod:`service.agronomy.week_program` says what is
chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.records import Floats, Ints
from service.agronomy.run_time_kernel import Choice, Trial, best_steps, cost_of
from service.agronomy.timer_kernel import (
    ANY_WEEKDAYS,
    SIMPLER_MM,
    choose_steps,
    count_days,
    keep,
    make_trial,
)
from service.agronomy.turn_room_kernel import packed, share_room
from service.agronomy.week_ahead import TimerBatch, WeekAhead, WeekProgram
from service.agronomy.weekday_kernel import any_days, best_days, next_steps, tables_of
from service.kernels import compiled

MOST_ROUNDS = 3
"""[CHOICE] How often the beginnings of the turns are moved at most."""
DELAY_COUNT = 8
"""[CHOICE] Into so many parts the time is divided that the turns of a cycle leave."""


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


@compiled
def best_program(trial: Trial, masks: Ints, day_rule: int) -> Choice:
    """The best days and run time; sets that are not spread evenly have to save a little."""
    best = choose_steps(trial, masks)
    if day_rule == ANY_WEEKDAYS and best.cost > SIMPLER_MM:
        found = any_days(trial, best.cost - SIMPLER_MM)
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
        mask, following = 0, min(next_steps(steps), trial.most_steps + 1)
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
def no_programs(shared: Shared) -> TurnPrograms:
    """Programs to be filled in; turns evenly apart."""
    turn_count, count = shared.turn.max() + 1, shared.blocks.shape[0]
    apart_min = shared.room_min // turn_count + shared.gap_min
    return TurnPrograms(
        np.zeros(count, np.int64),
        np.zeros(count, np.int64),
        np.full(count, np.inf),
        np.arange(turn_count) * apart_min,
    )


@compiled
def trial_of(shared: Shared, place: int, begins_min: Ints, most_min: int) -> Trial:
    """What is tried for one of the blocks, if its turn begins and lasts so long."""
    return make_trial(
        shared.days,
        shared.timers,
        shared.blocks[place],
        shared.start_count,
        float(begins_min[shared.turn[place]]),
        float(most_min),
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
def search_turns(
    shared: Shared, before: TurnPrograms, begins_min: Ints, lengths_min: Ints
) -> TurnPrograms:
    """The best program of each block, where its turn begins then and lasts at most so long.

    One whose turn begins as before, and which fits, stays as it is.
    """
    found = no_programs(shared)
    found.begins_min[:] = begins_min
    for place, block in enumerate(shared.blocks):
        turn, rule = shared.turn[place], shared.timers.day_rule[block]
        run_min = before.step_count[place] * shared.timers.run_step_min[block]
        mask, steps, cost = before.day_mask[place], before.step_count[place], before.cost[place]
        is_same = begins_min[turn] == before.begins_min[turn] and run_min <= lengths_min[turn]
        if not (is_same and np.isfinite(cost)):
            trial = trial_of(shared, place, begins_min, lengths_min[turn])
            best = best_program(trial, shared.masks[rule], rule)
            mask, steps, cost = best.day_mask, best.step_count, best.cost
        found.day_mask[place], found.step_count[place], found.cost[place] = mask, steps, cost
    return found


@compiled
def guessed_begins(shared: Shared) -> Ints:
    """(turns,) where they begin if every block had the best of its even sets of days."""
    guess = no_programs(shared)
    for place, block in enumerate(shared.blocks):
        trial = trial_of(shared, place, guess.begins_min, shared.room_min)
        even = choose_steps(trial, shared.masks[shared.timers.day_rule[block]])
        guess.step_count[place] = even.step_count
    lengths_min = lengths_of(shared, guess)
    if lengths_min.sum() > shared.room_min:
        lengths_min = lengths_min * shared.room_min // lengths_min.sum()
    return packed(lengths_min, shared.gap_min)


@compiled
def shared_lengths(shared: Shared, begins_min: Ints) -> Ints:
    """(turns,) how long each lasts where they have no room for the best of each block."""
    costs = np.zeros((begins_min.shape[0], shared.room_min + 1))
    for place, block in enumerate(shared.blocks):
        trial = trial_of(shared, place, begins_min, shared.room_min)
        rule, step_min = shared.timers.day_rule[block], shared.timers.run_step_min[block]
        own = least_by_length(trial, shared.masks[rule], rule, step_min)
        for minutes in range(shared.room_min + 1):
            costs[shared.turn[place], minutes] += own[min(minutes, own.shape[0] - 1)]
    return share_room(costs, shared.room_min)


@compiled
def delays_of(shared: Shared, begins_min: Ints, left_min: int) -> Ints:
    """Delays of a turn that are tried, rising from 0: eighths of what a cycle leaves, and sunrise.

    Water before sunrise drains where the store is full, water after it meets the day's use.
    """
    block = shared.blocks[0]
    opens_min = shared.timers.opens_min[block]
    cycle_min = (shared.timers.closes_min[block] - opens_min) // shared.start_count
    sunrise_min = int(np.ceil(shared.days.sunrise_min[:, block].max()))
    delays_min = np.zeros(DELAY_COUNT + 1 + begins_min.shape[0], np.int64)
    for part in range(DELAY_COUNT + 1):
        delays_min[part] = left_min * part // DELAY_COUNT
    for turn, begins in enumerate(begins_min):
        until_sunrise_min = (sunrise_min - opens_min) % cycle_min - begins
        delays_min[DELAY_COUNT + 1 + turn] = min(max(0, until_sunrise_min), left_min)
    return np.sort(delays_min)


@compiled
def change_start(trial: Trial, masks: Ints, mask: int, steps: int) -> Choice:
    """A program that starts at another time of the day: its own days, or an even set of them.

    Another set is tried with the same minutes a week.
    """
    steps, least = best_steps(trial, mask, steps)
    days, steps_a_week = mask, steps * count_days(mask)
    for each in masks:
        if each == 0:
            break
        alike = int(np.rint(steps_a_week / count_days(each)))
        alike = min(max(alike, trial.least_steps), trial.most_steps)
        cost = cost_of(trial, each, alike, least)
        if cost < least:
            days, steps, least = each, alike, cost
    if days != mask:
        steps, least = best_steps(trial, days, steps)
    return Choice(days, 0, steps, least)


@compiled
def delay_costs(
    shared: Shared, programs: TurnPrograms, begins_min: Ints, delays_min: Ints, lengths_min: Ints
) -> tuple[Floats, Ints]:
    """(turns, delays) what the blocks of a turn cost if it waits so long, and when its gap ends.

    The first turn never waits. The others may last as long as those after them still fit.
    """
    shape = (begins_min.shape[0], delays_min.shape[0])
    costs, ends_min = np.zeros(shape), np.zeros(shape, np.int64)
    for turn in range(shape[0]):
        for at in range(shape[1]):
            ends_min[turn, at] = begins_min[turn] + delays_min[at] + shared.gap_min
    ends_min[0] = lengths_min[0] + shared.gap_min
    left_min = shared.room_min - lengths_min.sum()
    for place, block in enumerate(shared.blocks):
        turn, mask = shared.turn[place], programs.day_mask[place]
        for at in range(shape[1] if turn > 0 and mask > 0 else 0):
            later_min = begins_min + delays_min[at]
            most_min = lengths_min[turn] + left_min - delays_min[at]
            trial = trial_of(shared, place, later_min, most_min)
            masks = shared.masks[shared.timers.day_rule[block]]
            near = change_start(trial, masks, mask, programs.step_count[place])
            run_min = int(np.ceil(near.step_count * shared.timers.run_step_min[block]))
            end_min = later_min[turn] + run_min + shared.gap_min
            costs[turn, at] += near.cost
            ends_min[turn, at] = max(ends_min[turn, at], end_min)
    return costs, ends_min


@compiled
def delayed(shared: Shared, programs: TurnPrograms, lengths_min: Ints) -> Ints:
    """(turns,) where they begin if that costs least.

    Every way is looked at in which the turns but the first wait; without room for any they follow
    each other at once.
    """
    begins_min = packed(lengths_min, shared.gap_min)
    delays_min = delays_of(shared, begins_min, shared.room_min - lengths_min.sum())
    costs, ends_min = delay_costs(shared, programs, begins_min, delays_min, lengths_min)
    turn_count, count = costs.shape
    before = np.zeros((turn_count, count), np.int64)
    for turn in range(1, turn_count):
        for at in range(count):
            least = np.inf
            for earlier in range(count):
                fits = ends_min[turn - 1, earlier] <= begins_min[turn] + delays_min[at]
                if fits and costs[turn - 1, earlier] < least:
                    least = costs[turn - 1, earlier]
                    before[turn, at] = earlier
            costs[turn, at] += least
    last, at, least = turn_count - 1, 0, np.inf
    for each in range(count):
        fits = ends_min[last, each] <= shared.room_min + shared.gap_min * turn_count
        if fits and costs[last, each] < least:
            at, least = each, costs[last, each]
    for turn in range(last if least < np.inf else 0, 0, -1):
        begins_min[turn] += delays_min[at]
        at = before[turn, at]
    return begins_min


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
def fit_turns(shared: Shared) -> TurnPrograms:
    """The programs of the blocks with so many cycles a day.

    When a turn begins depends on how long those before it last. That is first guessed from even
    sets of days; each block then has its own best, as if it had the room to itself. Where all do
    not fit, the room is shared for the least cost of all.
    """
    begins_min = guessed_begins(shared)
    whole_min = np.full(begins_min.shape[0], shared.room_min)
    programs = search_turns(shared, no_programs(shared), begins_min, whole_min)
    lengths_min = lengths_of(shared, programs)
    if lengths_min.sum() > shared.room_min:
        lengths_min = shared_lengths(shared, begins_min)
    begins_min = packed(lengths_min, shared.gap_min)
    programs = search_turns(shared, programs, begins_min, lengths_min)
    for _ in range(MOST_ROUNDS):
        begins_min = delayed(shared, programs, lengths_of(shared, programs))
        lengths_min = room_until_next(shared, begins_min)
        later = search_turns(shared, programs, begins_min, lengths_min)
        if later.cost.sum() >= programs.cost.sum() - SIMPLER_MM:
            break
        programs = later
    return programs


@compiled
def choose_in_turns(
    days: WeekAhead, timers: TimerBatch, masks: Ints, blocks: Ints, turn: Ints, out: WeekProgram
) -> None:
    """Programs of blocks that run one turn after the other, equally often a day.

    A further cycle has to save as much for each block as a further start of one that runs alone.
    """
    best_cost = np.inf
    open_min = timers.closes_min[blocks[0]] - timers.opens_min[blocks[0]]
    gap_min = timers.valve_gap_min[blocks].max()
    for start_count in range(1, timers.most_starts[blocks].min() + 1):
        room_min = open_min // start_count - gap_min * (turn.max() + 1)
        if room_min <= 0:
            break
        shared = Shared(days, timers, masks, blocks, turn, start_count, room_min, gap_min)
        found = fit_turns(shared)
        cost = found.cost.sum()
        if cost >= best_cost - SIMPLER_MM * blocks.shape[0]:
            continue
        best_cost = cost
        for place, block in enumerate(blocks):
            steps, mask = found.step_count[place], found.day_mask[place]
            choice = Choice(mask, start_count if mask > 0 else 0, steps, found.cost[place])
            keep(out, days, timers, block, choice, found.begins_min[turn[place]])
