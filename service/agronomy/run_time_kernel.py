"""Compiled search for the run time of a timer on given days.

In: the days ahead and what is tried. Out: the run time of least cost, in steps of the timer.
:mod:`service.agronomy.week_program` says what is chosen and why.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from service.agronomy.records import Floats
from service.agronomy.week_ahead import WeekAhead
from service.agronomy.week_kernel import CostRules, Starts, week_course
from service.kernels import compiled


class Choice(NamedTuple):
    """A program: which days, how many starts, how many steps of the timer each."""

    day_mask: int
    start_count: int
    step_count: int
    cost: float


class Trial(NamedTuple):
    """What is tried for one block: so many starts a day, at run times between two bounds."""

    days: WeekAhead
    block: int
    starts: Starts
    step_net_mm: float
    """What one step of the timer puts back."""
    least_steps: int
    most_steps: int
    rules: CostRules


@compiled
def cost_of(trial: Trial, day_mask: int, steps: int, limit: float) -> float:
    """Cost of the week with this run time on these days; infinite where it passes the limit."""
    pulse_net_mm = steps * trial.step_net_mm
    return week_course(
        trial.days, trial.block, day_mask, trial.starts, pulse_net_mm, trial.rules, limit
    ).cost


@compiled
def falls_after(trial: Trial, day_mask: int, steps: int, costs: Floats) -> bool:
    """Whether one step more of run time costs less; ``costs`` keeps those that are known."""
    if np.isnan(costs[steps]):
        costs[steps] = cost_of(trial, day_mask, steps, np.inf)
    if np.isnan(costs[steps + 1]):
        more = cost_of(trial, day_mask, steps + 1, costs[steps])
        if more == np.inf:
            return False
        costs[steps + 1] = more
    return bool(costs[steps + 1] < costs[steps])


@compiled
def best_steps(trial: Trial, day_mask: int, guess: int) -> tuple[int, float]:
    """The run time of least cost on these days, in steps, and that cost.

    The depletion of every midnight is convex in the run time, and so are drainage and excess as
    long as there is no stress: the slope is followed from the guess in doubling strides, and by
    halving once the least is between two points.
    """
    low, high = trial.least_steps, trial.most_steps
    probe, stride = min(max(guess, low), high), 1
    rises = False
    costs = np.full(high + 2, np.nan)
    while low < high and low <= probe < high and stride > 0:
        if falls_after(trial, day_mask, probe, costs):
            low = probe + 1
            if rises:
                break
            probe += stride
        else:
            high = probe
            if low > trial.least_steps:
                break
            rises = True
            probe = max(low, probe - stride)
        stride *= 2
    while low < high:
        middle = (low + high) // 2
        if falls_after(trial, day_mask, middle, costs):
            low = middle + 1
        else:
            high = middle
    if np.isnan(costs[low]):
        costs[low] = cost_of(trial, day_mask, low, np.inf)
    return low, costs[low]
