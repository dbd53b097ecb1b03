"""Programs of blocks that take turns: against every program of a grid, on invented supplies."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import numpy as np
import pytest

from service.agronomy.records import Floats, Ints
from service.agronomy.turn_room_kernel import divide_cycle, take_turns
from service.agronomy.week_ahead import DayRule, TimerBatch, WeekAhead, WeekProgram
from service.agronomy.week_program import assess_programs, choose_programs, day_masks
from tests.agronomy.test_week_program import invented_weeks, timers, week

SUPPLY_FLOW_L_PER_H = np.array([1600.0])
LONGEST_MIN = 120.0
GRID_MIN = 15
SUPPLY_COUNT = {DayRule.EVERY_DAY: 100, DayRule.WEEKDAYS: 40, DayRule.INTERVAL: 100}
"""Of the 127 sets of weekdays each costs as much as all sets of the other rules together."""


def invented_supply(seed: int, rule: DayRule) -> tuple[WeekAhead, TimerBatch]:
    """Two or three blocks that are too much for their supply, in hours that are often too few."""
    generator = np.random.default_rng(seed)
    count = int(generator.integers(2, 4))
    rules = timers(
        count,
        flow_l_per_h=generator.uniform(900.0, 1500.0, count),
        closes_min=int(240 + generator.integers(90, 600)),
        most_starts=2,
        day_rule=int(rule),
        net_rate_mm_per_min=generator.uniform(0.03, 0.12, count),
        run_step_min=float(generator.choice([0.5, 1.0, 5.0])),
    )
    return invented_weeks(count, seed), rules


def least_costs(
    ahead: WeekAhead, rules: TimerBatch, block: int, *, start_count: int, begins_min: int,
    masks: Iterable[int], lengths_min: Ints,
) -> Floats:  # fmt: skip
    """The least cost of a block whose turn begins then, for each length of the turn."""
    opens_min, cycle_min = 240, (int(rules.closes_min[block]) - 240) // start_count
    most_min = LONGEST_MIN if start_count == 1 else min(LONGEST_MIN, cycle_min / 2.0)
    runs_min, sets = np.arange(10.0, most_min + 0.1, 5.0), np.array(list(masks))
    mask = np.concatenate([[0], np.repeat(sets, runs_min.size)])
    run_min = np.concatenate([[0.0], np.tile(runs_min, sets.size)])
    unknown = np.full(mask.size, np.nan)
    programs = WeekProgram(
        day_mask=mask, start_count=np.where(mask > 0, start_count, 0),
        first_start_min=np.full(mask.size, opens_min + begins_min),
        spacing_min=np.full(mask.size, cycle_min), run_min=run_min, cost_mm=unknown,
        excess_mm=unknown, drainage_mm=unknown, depletion_end_mm=unknown,
    )  # fmt: skip
    again = np.full(mask.size, block)
    cost_mm = assess_programs(
        WeekAhead(*(term[..., again] for term in ahead)),
        TimerBatch(*(term[again] for term in rules)),
        programs,
    ).cost_mm
    return np.array([cost_mm[run_min <= length].min() for length in lengths_min])


def best_of_grid(ahead: WeekAhead, rules: TimerBatch, turn: Ints, masks: Iterable[int]) -> float:
    """The least cost of all blocks together: every length and pause of a turn, all programs."""
    best, masks, turn_count = np.inf, list(masks), int(turn.max()) + 1
    for start_count in (1, 2):
        room_min = (int(rules.closes_min[0]) - 240) // start_count - turn_count
        lengths_min = np.arange(0, min(room_min, 120) + 1, GRID_MIN)
        known: dict[tuple[int, int], Floats] = {}
        for places in itertools.product(range(lengths_min.size), repeat=turn_count - 1):
            before = [int(lengths_min[place]) for place in places]
            left_min = room_min - sum(before)
            if left_min < 0:
                continue
            last = int(np.searchsorted(lengths_min, left_min, side="right")) - 1
            total = 0.0
            for block, own in enumerate(turn.tolist()):
                key = (block, sum(before[:own]) + own)
                if key not in known:
                    known[key] = least_costs(
                        ahead, rules, block, start_count=start_count, begins_min=key[1],
                        masks=masks, lengths_min=lengths_min,
                    )  # fmt: skip
                total += float(known[key][[*places, last][own]])
            best = min(best, total)
    return best


@pytest.mark.parametrize("rule", list(DayRule))
def test_no_programs_of_a_grid_in_turns_cost_markedly_less(rule: DayRule) -> None:
    masks = range(1, 128) if rule is DayRule.WEEKDAYS else day_masks(rule)
    own_mm, best_mm, block_count = [], [], []
    for seed in range(SUPPLY_COUNT[rule]):
        ahead, rules = invented_supply(seed, rule)
        turn = take_turns(rules.flow_l_per_h, float(SUPPLY_FLOW_L_PER_H[0]))
        own_mm.append(choose_programs(ahead, rules, SUPPLY_FLOW_L_PER_H).cost_mm.sum())
        best_mm.append(best_of_grid(ahead, rules, turn, masks))
        block_count.append(turn.size)
    own, best = np.array(own_mm), np.array(best_mm)
    # Between two programs that cost nearly the same, the one that is easier to set is chosen.
    allowed_mm = np.maximum(1.03 * best, best + 0.05 * np.array(block_count))
    assert (own <= allowed_mm + 1e-9).all(), np.flatnonzero(own > allowed_mm + 1e-9)
    # The grid begins at the opening of the window and has lengths a quarter of an hour apart.
    assert own.sum() <= best.sum()


def cheapest_division(costs: Floats, from_min: Ints, cycle_min: int, gap_min: int) -> float:
    """The least cost of all ways in which turns can begin and last, one after the other."""
    turn_count, _, longest_min = costs.shape[0], costs.shape[1], costs.shape[2] - 1
    least = np.inf
    for begins_min in itertools.combinations_with_replacement(range(cycle_min), turn_count):
        ends_min = [*begins_min[1:], cycle_min]
        room_min = [
            ends - begins - gap_min for begins, ends in zip(begins_min, ends_min, strict=True)
        ]
        if min(room_min) < 0:
            continue
        at = np.searchsorted(from_min, begins_min, side="right") - 1
        rooms = enumerate(room_min)
        least = min(least, sum(costs[turn, at[turn], min(own, longest_min)] for turn, own in rooms))
    return float(least)


def test_the_times_and_lengths_of_turns_are_divided_for_the_least_cost_of_all() -> None:
    generator = np.random.default_rng(3)
    from_min, cycle_min, gap_min = np.array([0, 4, 9]), 16, 1
    for _ in range(50):
        # A longer turn costs no more; a later one may cost more or less.
        costs = -np.sort(-generator.uniform(0.0, 9.0, (3, 3, 11)), axis=2)
        begins_min, lengths_min = divide_cycle(costs, from_min, cycle_min, gap_min)
        at = np.searchsorted(from_min, begins_min, side="right") - 1
        found = costs[np.arange(3), at, lengths_min].sum()
        ends_min = begins_min + lengths_min + gap_min
        assert (ends_min <= [*begins_min[1:], cycle_min]).all()
        assert found == pytest.approx(cheapest_division(costs, from_min, cycle_min, gap_min))


def test_turns_wait_for_sunrise_where_their_store_is_full() -> None:
    # Both blocks start at field capacity: water before sunrise at 06:00 would drain.
    full = np.zeros(2)
    ahead = week(
        full, np.full((7, 2), 5.0), np.zeros((1, 7, 2)), taw_mm=np.array([16.0, 16.0]),
        raw_mm=np.array([6.0, 6.0]),
    )  # fmt: skip
    rules = timers(2, day_rule=int(DayRule.EVERY_DAY), most_starts=1)
    in_turns = choose_programs(ahead, rules, np.array([1000.0]))
    alone = choose_programs(ahead, rules._replace(supply_index=np.arange(2)), np.full(2, np.inf))
    for program in (in_turns, alone):
        assert (program.first_start_min >= 360).all()
        assert program.cost_mm.sum() == pytest.approx(0.0, abs=0.1)


def test_turns_start_at_the_opening_where_waiting_saves_next_to_nothing() -> None:
    ahead = week(
        np.full(2, 5.0), np.full((7, 2), 3.0), np.zeros((1, 7, 2)), taw_mm=np.array([40.0, 40.0]),
        raw_mm=np.array([20.0, 20.0]),
    )  # fmt: skip
    rules = timers(2, day_rule=int(DayRule.EVERY_DAY), most_starts=1)
    in_turns = choose_programs(ahead, rules, np.array([1000.0]))
    alone = choose_programs(ahead, rules._replace(supply_index=np.arange(2)), np.full(2, np.inf))
    assert in_turns.first_start_min.min() == 240
    assert (alone.first_start_min == 240).all()
