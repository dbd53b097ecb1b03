"""Compiled division of a supply's flow and of a cycle's minutes among turns.

In: the flow of each block, or what each turn costs at each length. Out: which blocks run together,
how long each turn lasts and when it begins. :mod:`service.agronomy.turn_kernel` searches with it.
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
def share_room(costs: Floats, room_min: int) -> Ints:
    """(turns,) how long each turn lasts, so that all cost least together and fit into the room.

    ``costs`` (turns, minutes + 1) do not rise with the minutes. Every division of the room is
    looked at, turn by turn.
    """
    turn_count, longest_min = costs.shape[0], costs.shape[1] - 1
    least = np.zeros((turn_count + 1, room_min + 1))
    taken_min = np.zeros((turn_count, room_min + 1), np.int64)
    for turn in range(turn_count):
        for most_min in range(room_min + 1):
            least[turn + 1, most_min] = least[turn, most_min] + costs[turn, 0]
            for own_min in range(1, min(most_min, longest_min) + 1):
                if costs[turn, own_min] >= costs[turn, own_min - 1]:
                    continue
                cost = least[turn, most_min - own_min] + costs[turn, own_min]
                if cost < least[turn + 1, most_min]:
                    least[turn + 1, most_min] = cost
                    taken_min[turn, most_min] = own_min
    lengths_min = np.zeros(turn_count, np.int64)
    left_min = room_min
    for turn in range(turn_count - 1, -1, -1):
        lengths_min[turn] = taken_min[turn, left_min]
        left_min -= lengths_min[turn]
    return lengths_min


@compiled
def packed(lengths_min: Ints, gap_min: int) -> Ints:
    """(turns,) where turns begin that follow each other at once."""
    begins_min = np.zeros(lengths_min.shape[0], np.int64)
    for turn in range(1, lengths_min.shape[0]):
        begins_min[turn] = begins_min[turn - 1] + lengths_min[turn - 1] + gap_min
    return begins_min
