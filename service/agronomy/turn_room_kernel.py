"""Compiled division of a supply's flow and of a cycle's minutes among turns.

In: the flow of each block, or what each turn costs at each time and length. Out: which blocks run
together, how long each turn lasts and when it begins. :mod:`service.agronomy.turn_kernel` searches
with it.
"""

from __future__ import annotations

import numpy as np

from service.agronomy.records import Floats, Ints
from service.kernels import compiled


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
def divide_cycle(costs: Floats, from_min: Ints, cycle_min: int, gap_min: int) -> tuple[Ints, Ints]:
    """(turns,) when each begins and how long it lasts, so that all cost least together.

    ``costs`` (turns, times, minutes + 1): what a turn costs that begins at one of the times
    ``from_min``, which rise from 0, or before the next of them, and lasts so long; it does not rise
    with the minutes. Every division of the cycle into turns and pauses is looked at, turn by turn:
    a turn begins as soon as those before it have ended for less, or at one of the times.
    """
    turn_count, time_count, longest_min = costs.shape[0], costs.shape[1], costs.shape[2] - 1
    least = np.zeros((turn_count + 1, cycle_min + 1))
    began_min = np.zeros((turn_count, cycle_min + 1), np.int64)
    lasted_min = np.zeros((turn_count, cycle_min + 1), np.int64)
    for turn in range(turn_count):
        at = 0
        least[turn + 1] = np.inf
        for begins in range(cycle_min - gap_min + 1):
            before = least[turn, begins]
            is_tried = begins == 0 or before < least[turn, begins - 1]
            while at + 1 < time_count and from_min[at + 1] <= begins:
                at += 1
                is_tried = True
            if not is_tried or before == np.inf:
                continue
            for own_min in range(min(longest_min, cycle_min - gap_min - begins) + 1):
                if own_min > 0 and costs[turn, at, own_min] >= costs[turn, at, own_min - 1]:
                    continue
                ends, cost = begins + own_min + gap_min, before + costs[turn, at, own_min]
                if cost < least[turn + 1, ends]:
                    least[turn + 1, ends] = cost
                    began_min[turn, ends], lasted_min[turn, ends] = begins, own_min
        for ends in range(1, cycle_min + 1):
            if least[turn + 1, ends - 1] <= least[turn + 1, ends]:
                least[turn + 1, ends] = least[turn + 1, ends - 1]
                began_min[turn, ends] = began_min[turn, ends - 1]
                lasted_min[turn, ends] = lasted_min[turn, ends - 1]
    begins_min, lengths_min = np.zeros(turn_count, np.int64), np.zeros(turn_count, np.int64)
    ends = cycle_min
    for turn in range(turn_count - 1, -1, -1):
        begins_min[turn], lengths_min[turn] = began_min[turn, ends], lasted_min[turn, ends]
        ends = begins_min[turn]
    return begins_min, lengths_min


@compiled
def packed(lengths_min: Ints, gap_min: int) -> Ints:
    """(turns,) where turns begin that follow each other at once."""
    begins_min = np.zeros(lengths_min.shape[0], np.int64)
    for turn in range(1, lengths_min.shape[0]):
        begins_min[turn] = begins_min[turn - 1] + lengths_min[turn - 1] + gap_min
    return begins_min
