"""Compiled search for the program of a week with the least cost, for each block or supply.

In: the days ahead, what each timer can be set to, which blocks have to take turns. Out: the days,
the number of starts and the steps of run time. :mod:`service.agronomy.week_program` says what is
chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.records import Floats, Ints
from service.agronomy.week_kernel import Starts, WeekDays, make_starts, week_course
from service.kernels import compiled

SIMPLER_MM = 0.05
"""[CHOICE] A further start or another set of days has to save this much to be chosen."""
ANY_WEEKDAYS = 1
"""The day rule of a timer that takes any set of weekdays."""


class Choice(NamedTuple):
    """A program: which days, how many starts, how many steps of the timer each."""

    day_mask: int
    start_count: int
    step_count: int
    cost: float


class Timers(NamedTuple):
    """What each block's timer and system allow; arrays (blocks,)."""

    most_starts: Ints
    run_step_min: Floats
    """Shortest step of the run time that the timer can be set to."""
    day_rule: Ints
    """Row of the table of day masks."""
    opens_min: Ints
    closes_min: Ints
    shortest_pulse_min: Ints
    longest_pulse_min: Ints
    daily_maximum_min: Floats
    off_ratio: Floats
    valve_gap_min: Ints
    net_rate_mm_per_min: Floats
    rain_room_fraction: Floats
    """Share of RAW that may be empty at the end of the week without a cost."""


class Programs(NamedTuple):
    """The programs chosen; arrays (blocks,)."""

    day_mask: Ints
    start_count: Ints
    first_start_min: Ints
    spacing_min: Ints
    step_count: Ints
    cost: Floats
    excess_mm: Floats
    drainage_mm: Floats
    depletion_end_mm: Floats


@compiled
def most_steps(timers: Timers, block: int, start_count: int, slot_min: float) -> int:
    """Longest run time, in steps of the timer, of each of so many starts in slots so long."""
    open_min = timers.closes_min[block] - timers.opens_min[block]
    most_min = min(slot_min, timers.longest_pulse_min[block])
    most_min = min(most_min, timers.daily_maximum_min[block] / start_count)
    if start_count > 1:
        cycle_min = open_min // start_count
        most_min = min(most_min, cycle_min / (1.0 + timers.off_ratio[block]))
    return int(most_min / timers.run_step_min[block] + 1e-9)


@compiled
def falls_after(
    steps: int,
    depletion_mm: float,
    days: WeekDays,
    block: int,
    day_mask: int,
    starts: Starts,
    step_net_mm: float,
    rain_room_fraction: float,
) -> bool:
    """Whether one step more of run time costs less."""
    at_mm, after_mm = steps * step_net_mm, (steps + 1) * step_net_mm
    at = week_course(depletion_mm, days, block, day_mask, starts, at_mm, rain_room_fraction)
    after = week_course(depletion_mm, days, block, day_mask, starts, after_mm, rain_room_fraction)
    return after.cost < at.cost


@compiled
def best_steps(
    depletion_mm: float,
    days: WeekDays,
    block: int,
    day_mask: int,
    starts: Starts,
    step_net_mm: float,
    bounds: tuple[int, int],
    guess: int,
    rain_room_fraction: float,
) -> int:
    """The run time of least cost between two bounds, in steps.

    The depletion of every midnight is convex in the run time, and so are drainage and excess as
    long as there is no stress: the slope is followed from the guess in doubling strides, and by
    halving once the least is between two points.
    """
    low, high = bounds
    probe, stride = min(max(guess, low), high), 1
    rises = False
    while low < high and low <= probe < high and stride > 0:
        if falls_after(
            probe, depletion_mm, days, block, day_mask, starts, step_net_mm, rain_room_fraction
        ):
            low = probe + 1
            if rises:
                break
            probe += stride
        else:
            high = probe
            if low > bounds[0]:
                break
            rises = True
            probe = max(low, probe - stride)
        stride *= 2
    while low < high:
        middle = (low + high) // 2
        if falls_after(
            middle, depletion_mm, days, block, day_mask, starts, step_net_mm, rain_room_fraction
        ):
            low = middle + 1
        else:
            high = middle
    return low


@compiled
def count_days(mask: int) -> int:
    """Number of days that a mask holds."""
    count = 0
    while mask:
        count += mask & 1
        mask >>= 1
    return count


@compiled
def try_days(
    depletion_mm: float,
    days: WeekDays,
    block: int,
    day_mask: int,
    starts: Starts,
    step_net_mm: float,
    bounds: tuple[int, int],
    starts_a_week: int,
    rain_room_fraction: float,
) -> Choice:
    """The best run time on these days; ``starts_a_week`` is a guess of its steps in all."""
    guess = starts_a_week // count_days(day_mask)
    steps = best_steps(
        depletion_mm, days, block, day_mask, starts, step_net_mm, bounds, guess, rain_room_fraction
    )
    course = week_course(
        depletion_mm, days, block, day_mask, starts, steps * step_net_mm, rain_room_fraction
    )
    start_count = starts.durations.shape[0] // days.crop_et_mm.shape[0]
    return Choice(day_mask, start_count, steps, course.cost)


@compiled
def change_days(
    best: Choice,
    depletion_mm: float,
    days: WeekDays,
    block: int,
    starts: Starts,
    step_net_mm: float,
    bounds: tuple[int, int],
    rain_room_fraction: float,
) -> Choice:
    """The best days near those chosen: a day more, a day less, a day for another."""
    is_better = True
    while is_better:
        is_better = False
        around = best
        starts_a_week = around.step_count * count_days(around.day_mask)
        for one in range(7):
            for other in range(one, 7):
                mask = around.day_mask ^ (1 << one)
                if other != one:
                    mask ^= 1 << other
                    if count_days(mask) != count_days(around.day_mask):
                        continue
                if mask == 0:
                    continue
                found = try_days(
                    depletion_mm, days, block, mask, starts, step_net_mm, bounds,
                    starts_a_week, rain_room_fraction,
                )  # fmt: skip
                if found.cost < best.cost - SIMPLER_MM:
                    best, is_better = found, True
    return best


@compiled
def choose_steps(
    depletion_mm: float,
    days: WeekDays,
    timers: Timers,
    block: int,
    masks: Ints,
    start_count: int,
    offset_min: float,
    slot_min: float,
) -> Choice:
    """The best days and run time of a block for a number of starts a day.

    Where any weekdays may be chosen, the best of the masks is improved: a day more, a day less, a
    day for another, as long as that helps.
    """
    rain_room_fraction = timers.rain_room_fraction[block]
    step_net_mm = timers.run_step_min[block] * timers.net_rate_mm_per_min[block]
    first_start_min = timers.opens_min[block] + offset_min
    spacing_min = (timers.closes_min[block] - timers.opens_min[block]) // start_count
    starts = make_starts(days, block, start_count, first_start_min, spacing_min)
    off = week_course(depletion_mm, days, block, 0, starts, 0.0, rain_room_fraction)
    best = Choice(0, 0, 0, off.cost)
    low = int(np.ceil(timers.shortest_pulse_min[block] / timers.run_step_min[block] - 1e-9))
    high = most_steps(timers, block, start_count, slot_min)
    if high < low:
        return best
    starts_a_week = (low + high) // 2 * 7
    for place in range(masks.shape[1]):
        mask = masks[timers.day_rule[block], place]
        if mask == 0:
            break
        found = try_days(
            depletion_mm, days, block, mask, starts, step_net_mm, (low, high), starts_a_week,
            rain_room_fraction,
        )  # fmt: skip
        starts_a_week = found.step_count * count_days(mask)
        if found.cost < best.cost - SIMPLER_MM:
            best = found
    if timers.day_rule[block] != ANY_WEEKDAYS or best.day_mask == 0:
        return best
    return change_days(
        best, depletion_mm, days, block, starts, step_net_mm, (low, high), rain_room_fraction
    )


@compiled
def keep(
    programs: Programs,
    depletion_mm: float,
    days: WeekDays,
    timers: Timers,
    block: int,
    choice: Choice,
    offset_min: int,
) -> None:
    """Write a choice down, with the course that it leads to."""
    start_count = max(1, choice.start_count)
    spacing_min = (timers.closes_min[block] - timers.opens_min[block]) // start_count
    first_start_min = timers.opens_min[block] + offset_min
    pulse_mm = choice.step_count * timers.run_step_min[block] * timers.net_rate_mm_per_min[block]
    starts = make_starts(days, block, start_count, first_start_min, spacing_min)
    course = week_course(
        depletion_mm,
        days,
        block,
        choice.day_mask,
        starts,
        pulse_mm,
        timers.rain_room_fraction[block],
    )
    programs.day_mask[block] = choice.day_mask
    programs.start_count[block] = choice.start_count
    programs.first_start_min[block] = first_start_min
    programs.spacing_min[block] = spacing_min
    programs.step_count[block] = choice.step_count
    programs.cost[block] = course.cost
    programs.excess_mm[block] = course.excess_mm
    programs.drainage_mm[block] = course.drainage_mm
    programs.depletion_end_mm[block] = course.depletion_end_mm


@compiled
def choose_alone(
    depletion_mm: Floats, days: WeekDays, timers: Timers, masks: Ints, block: int, out: Programs
) -> None:
    """The program of a block that never has to wait for another."""
    best = Choice(0, 0, 0, np.inf)
    open_min = timers.closes_min[block] - timers.opens_min[block]
    for start_count in range(1, timers.most_starts[block] + 1):
        found = choose_steps(
            depletion_mm[block], days, timers, block, masks, start_count, 0.0, float(open_min)
        )
        if found.cost < best.cost - SIMPLER_MM:
            best = found
    keep(out, depletion_mm[block], days, timers, block, best, 0)


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
    depletion_mm: Floats,
    days: WeekDays,
    timers: Timers,
    masks: Ints,
    blocks: Ints,
    turn: Ints,
    out: Programs,
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
                choices[place] = choose_steps(
                    depletion_mm[block], days, timers, block, masks, start_count, offset_min,
                    own_min,
                )  # fmt: skip
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
                keep(
                    out, depletion_mm[block], days, timers, block, choices[place],
                    begins_min[turn[place]],
                )  # fmt: skip
