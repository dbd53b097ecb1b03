"""One program for a week: what to set on a timer that nobody touches before the next setting day.

In: the water balance of the morning, the days until the next setting in one or more courses of the
weather, and what each block's timer can do. Out: on which days it runs, how often a day and for how
long, such that readily available water holds and drainage is least, and what that leads to.

Sets of days that are spread evenly are tried with every number of starts, the run time found along
the slope of the cost, which is convex in it. A timer that takes any weekdays has all sets of days
tried, at run times a twentieth apart and at every one near the best. Starts wait for sunrise where
that costs less: water before it drains where the store is full. Blocks that take turns run one turn
after the other in each cycle of the day, from its start or from sunrise; where that costs more than
if each block had the cycle to itself, all divisions of the cycle among the turns, with pauses, are
compared. The cost is in millimetres of drainage: a millimetre below readily available water at a
midnight counts ten, one left to be put back after the week counts a tenth, and a program that is
harder to set has to save a twentieth for a block [CHOICE].
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from service.agronomy.block_batch import BlockBatch
from service.agronomy.records import Floats, Ints, WallWindow, WeeklyNoWater, WindowBatch
from service.agronomy.watering_rules import net_rate_mm_per_min, pulse_limits, whole_minutes
from service.agronomy.week_ahead import WEEK_DAYS, DayRule, TimerBatch, WeekAhead, WeekProgram
from service.agronomy.weekly_hours import hours_of_week

WHOLE_WEEK = (1 << WEEK_DAYS) - 1


def day_masks(rule: DayRule) -> tuple[int, ...]:
    """The sets of days that are tried for a rule, as bits from the setting day on.

    Shapes: one rule.
    Returns: at least one mask, each of 7 bits. Of weekdays those that are spread evenly; all
    the others are searched in the kernels.
    Source: modelling choice of ours.
    >>> [f"{mask:07b}"[::-1] for mask in day_masks(DayRule.INTERVAL)][:3]
    ['1111111', '1010101', '1001001']
    >>> len(day_masks(DayRule.EVERY_DAY)), len(day_masks(DayRule.WEEKDAYS))
    (1, 7)
    """
    if rule is DayRule.EVERY_DAY:
        return (WHOLE_WEEK,)
    if rule is DayRule.INTERVAL:
        gaps = range(1, WEEK_DAYS + 1)
        firsts = [(gap, first) for first in range(2) for gap in gaps if first < gap]
        return _unique(_mask(range(first, WEEK_DAYS, gap)) for gap, first in firsts)
    counts = range(WEEK_DAYS, 0, -1)
    return _unique(_mask(day * WEEK_DAYS // count for day in range(count)) for count in counts)


def _mask(days: Iterable[int]) -> int:
    return sum(1 << day for day in days)


def _unique(masks: Iterable[int]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(masks))


def timers_of_blocks(
    blocks: BlockBatch,
    windows: WindowBatch,
    rows: Ints,
    *,
    most_starts: Ints,
    run_step_min: Floats,
    day_rule: Ints,
    safety_fraction: Floats,
) -> TimerBatch:
    """What the timers and the systems of some blocks allow; of several windows a timer has one.

    Shapes: rows (timers,), row numbers in blocks and windows; the others (timers,).
    Returns: TimerBatch (timers,), with the longest window of the day.
    Source: the pulse limits of the daily plan.
    """
    limits = pulse_limits(blocks.system, blocks.soil)
    system, lengths = blocks.system, (windows.closes_min - windows.opens_min)[rows]
    longest = np.argmax(lengths, axis=1)
    return TimerBatch(
        most_starts=most_starts,
        run_step_min=run_step_min,
        day_rule=day_rule,
        opens_min=windows.opens_min[rows, longest],
        closes_min=windows.closes_min[rows, longest],
        shortest_pulse_min=limits.shortest_pulse_min[rows],
        longest_pulse_min=limits.longest_pulse_min[rows],
        daily_maximum_min=system.daily_maximum_min[rows],
        off_ratio=system.off_ratio[rows],
        valve_gap_min=whole_minutes(np.ceil(system.valve_gap_s[rows] / 60.0)),
        net_rate_mm_per_min=net_rate_mm_per_min(system, blocks.soil)[rows],
        flow_l_per_h=system.flow_l_per_h[rows],
        rain_room_fraction=system.rain_room_fraction[rows],
        safety_fraction=safety_fraction,
        supply_index=system.supply_index[rows],
        open_day_mask=np.full(rows.size, WHOLE_WEEK),
    )


def within_weekly_hours(
    timers: TimerBatch,
    own: Sequence[Sequence[WallWindow]],
    shared: Sequence[Sequence[WallWindow]],
    weekly: Sequence[Sequence[WeeklyNoWater]],
    *,
    first_weekday: int,
) -> TimerBatch:
    """Timers whose supply gives no water in some hours of every week, with what that leaves them.

    Shapes: timers (blocks,), and an entry for each in the windows of the blocks, those of their
    supplies, and the weekly hours.
    first_weekday: of the setting day, 1 Monday to 7 Sunday.
    Returns: TimerBatch; blocks without weekly hours as they were, those whose week has no room for
    a pulse without an open day.
    Source: arrangement only.
    """
    if not any(weekly):
        return timers
    opens_min, closes_min = timers.opens_min.copy(), timers.closes_min.copy()
    open_day_mask = timers.open_day_mask.copy()
    for block, hours in enumerate(weekly):
        if not hours:
            continue
        shortest_min = int(timers.shortest_pulse_min[block])
        found = hours_of_week(own[block], shared[block], hours, shortest_pulse_min=shortest_min)
        open_day_mask[block] = 0
        if found is not None:
            opens_min[block], closes_min[block] = found.opens_wall_min, found.closes_wall_min
            open_day_mask[block] = _mask(
                (day - first_weekday) % WEEK_DAYS for day in found.weekdays
            )
    return timers._replace(opens_min=opens_min, closes_min=closes_min, open_day_mask=open_day_mask)


def choose_programs(
    ahead: WeekAhead, timers: TimerBatch, supply_flow_l_per_h: Floats
) -> WeekProgram:
    """The program of every block with a timer, for the days until it is set again.

    Shapes: ahead (days, blocks), timers (blocks,), supply_flow_l_per_h (supplies,), infinite where
    there is no limit.
    Returns: WeekProgram (blocks,); NaN where a number is not known. Blocks whose flows together
    exceed their supply take turns: they start equally often, one turn after the other, within the
    hours that all of them may run.
    Source: the step of the water balance, FAO-56 Eq. 84 and 85, enumerated; the weights of the cost
    are choices of ours.

    A block that uses 4 mm/d and lacks 4 mm at the start, with room for 8 mm
    before stress: two starts a day.

    >>> days, one = np.ones((7, 1)), np.ones(1)
    >>> ahead = WeekAhead(
    ...     depletion_start_mm=4.0 * one, crop_et_mm=4.0 * days[np.newaxis], taw_mm=16.0 * days,
    ...     raw_mm=8.0 * days, sunrise_min=360.0 * days, sunset_min=1200.0 * days,
    ...     rain_entering_mm=0.0 * days[np.newaxis], course_weight=np.ones((1, 1)))
    >>> whole = np.ones(1, np.int64)
    >>> timers = TimerBatch(
    ...     most_starts=4 * whole, run_step_min=one, day_rule=0 * whole, opens_min=240 * whole,
    ...     closes_min=1260 * whole, shortest_pulse_min=10 * whole, longest_pulse_min=120 * whole,
    ...     daily_maximum_min=1440.0 * one, off_ratio=one, valve_gap_min=whole,
    ...     net_rate_mm_per_min=0.05 * one, flow_l_per_h=900.0 * one,
    ...     rain_room_fraction=0.3 * one, safety_fraction=0.9 * one, supply_index=0 * whole,
    ...     open_day_mask=127 * whole)
    >>> program = choose_programs(ahead, timers, np.array([1000.0]))
    >>> int(program.start_count[0]), float(program.run_min[0])
    (2, 43.0)
    """
    from service.agronomy.timer_kernel import choose_alone
    from service.agronomy.turn_kernel import choose_in_turns
    from service.agronomy.turn_room_kernel import take_turns

    days, out = _contiguous(ahead), _no_programs(ahead.depletion_start_mm.size)
    # Turns narrow the hours, so the search works on copies of them.
    rules = timers._replace(opens_min=timers.opens_min.copy(), closes_min=timers.closes_min.copy())
    masks = _mask_table()
    is_known = _is_known(ahead, timers)
    for supply in np.unique(timers.supply_index).tolist():
        blocks = np.flatnonzero((timers.supply_index == supply) & is_known)
        turn = take_turns(timers.flow_l_per_h[blocks], float(supply_flow_l_per_h[supply]))
        if turn.max(initial=0) == 0:
            for block in blocks.tolist():
                choose_alone(days, rules, masks, block, out)
            continue
        rules.opens_min[blocks] = rules.opens_min[blocks].max()
        latest_min = rules.closes_min[blocks].min()
        rules.closes_min[blocks] = np.maximum(rules.opens_min[blocks], latest_min)
        choose_in_turns(days, rules, masks, blocks, turn, out)
    # A timer that takes any weekdays is not set to days on which nothing would come.
    takes_any = timers.day_rule == DayRule.WEEKDAYS
    out.day_mask[takes_any] &= timers.open_day_mask[takes_any]
    return out


def assess_programs(ahead: WeekAhead, timers: TimerBatch, program: WeekProgram) -> WeekProgram:
    """What other programs would lead to over the same days.

    Shapes: as for :func:`choose_programs`; ``program`` gives days, starts and run times (blocks,).
    Returns: the same programs with their cost, excess, drainage and depletion; NaN where a number
    is not known.
    Source: the step of the water balance, as for :func:`choose_programs`.
    """
    from service.agronomy.week_kernel import assess

    found = np.full((4, ahead.depletion_start_mm.size), np.nan)
    assess(
        _contiguous(ahead),
        _is_known(ahead, timers),
        program,
        program.run_min * timers.net_rate_mm_per_min,
        timers,
        found,
    )
    return program._replace(
        cost_mm=found[0],
        excess_mm=found[1],
        drainage_mm=found[2],
        depletion_end_mm=found[3],
    )


def _no_programs(count: int) -> WeekProgram:
    """Programs to be filled in: off, and not known."""
    return WeekProgram(
        day_mask=np.zeros(count, np.int64),
        start_count=np.zeros(count, np.int64),
        first_start_min=np.zeros(count, np.int64),
        spacing_min=np.zeros(count, np.int64),
        run_min=np.zeros(count),
        cost_mm=np.full(count, np.nan),
        excess_mm=np.full(count, np.nan),
        drainage_mm=np.full(count, np.nan),
        depletion_end_mm=np.full(count, np.nan),
    )


def _contiguous(ahead: WeekAhead) -> WeekAhead:
    """The same days laid out as the compiled search was compiled for."""
    # What is read-only, as a broadcast array is, would be another type and compiled once more.
    return WeekAhead(*(np.require(term, requirements=["C", "W"]) for term in ahead))


def _mask_table() -> Ints:
    """(rules, masks) the day masks of each rule, padded with 0."""
    rows = [day_masks(rule) for rule in DayRule]
    table = np.zeros((len(rows), max(map(len, rows)) + 1), np.int64)
    for row, masks in enumerate(rows):
        table[row, : len(masks)] = masks
    return table


def _is_known(ahead: WeekAhead, timers: TimerBatch) -> NDArray[np.bool_]:
    """(blocks,) whether all numbers of a block and its days are known."""
    known: NDArray[np.bool_] = (
        np.isfinite(ahead.depletion_start_mm)
        & np.isfinite(timers.net_rate_mm_per_min)
        & np.isfinite(timers.flow_l_per_h)
        & np.isfinite(ahead.rain_entering_mm).all(axis=(0, 1))
        & np.isfinite(ahead.crop_et_mm).all(axis=(0, 1))
    )
    for term in (ahead.taw_mm, ahead.raw_mm, ahead.sunrise_min):
        known &= np.isfinite(term).all(axis=0)
    return known
