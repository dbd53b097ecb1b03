"""What the programs of many timers cost: weeks of invented blocks, chosen on one core.

    python -m tests.benchmarks.week_programs
    python -m tests.benchmarks.week_programs --timers 10000 --courses 2 --rounds 3

Weather and blocks are invented, as in ``tests/agronomy/test_week_program.py``; a tenth of the
timers has half minutes. Every rule for the days is measured by itself: blocks alone on their
supplies, and four to a supply that two can share, where those that are too much take turns. Given
is the median of the rounds and their range; the kernels are compiled before.
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np

from service.agronomy.records import Floats
from service.agronomy.week_ahead import DayRule, TimerBatch, WeekAhead
from service.agronomy.week_program import choose_programs
from tests.agronomy.test_week_program import timers, week

FLOW_L_PER_H = 900.0
SHARING = 4


def invented_weeks(count: int, course_count: int, seed: int) -> WeekAhead:
    """Weeks of so many blocks in equally likely courses of the weather; the last has no rain."""
    generator = np.random.default_rng(seed)
    shape = (course_count, 7, count)
    taw_mm = generator.uniform(15.0, 70.0, count)
    raw_mm = taw_mm * generator.uniform(0.3, 0.6, count)
    rain_mm = np.where(generator.random(shape) < 0.2, generator.exponential(8.0, shape), 0.0)
    rain_mm[-1] = 0.0
    return week(
        generator.uniform(0.0, 1.0, count) * raw_mm,
        generator.uniform(1.0, 7.0, shape[1:]),
        rain_mm,
        taw_mm=taw_mm,
        raw_mm=raw_mm,
    )


def rules_of(count: int, rule: DayRule, *, shared: bool, seed: int) -> tuple[TimerBatch, Floats]:
    """The timers, and the flow of their supplies, L/h."""
    generator = np.random.default_rng(seed)
    supply_index = np.arange(count) // (SHARING if shared else 1)
    flow_l_per_h = 2.0 * FLOW_L_PER_H if shared else np.inf
    rules = timers(
        count,
        day_rule=int(rule),
        most_starts=generator.choice([1, 2, 4, 6], count),
        run_step_min=generator.choice([0.5, 1.0, 5.0], count, p=[0.1, 0.7, 0.2]),
        net_rate_mm_per_min=generator.uniform(0.02, 0.1, count),
        flow_l_per_h=FLOW_L_PER_H,
        supply_index=supply_index,
    )
    return rules, np.full(supply_index[-1] + 1, flow_l_per_h)


def seconds_of(
    ahead: WeekAhead, rules: TimerBatch, supply_flow: Floats, rounds: int
) -> list[float]:
    """Seconds of each round."""
    found = []
    for _ in range(rounds):
        started = time.perf_counter()
        choose_programs(ahead, rules, supply_flow)
        found.append(time.perf_counter() - started)
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--timers", type=int, default=10_000)
    parser.add_argument("--courses", type=int, default=2)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    ahead = invented_weeks(options.timers, options.courses, seed=20260714)
    print(
        f"{options.timers} timers, {options.courses} courses of the week, {options.rounds} rounds"
    )
    for shared in (False, True):
        for rule in DayRule:
            rules, supply_flow = rules_of(options.timers, rule, shared=shared, seed=20260715)
            warm = invented_weeks(SHARING, options.courses, seed=1)
            choose_programs(warm, *rules_of(SHARING, rule, shared=shared, seed=1))
            found = seconds_of(ahead, rules, supply_flow, options.rounds)
            place = "in turns" if shared else "alone"
            name = f"{rule.name.lower().replace('_', ' ')}, {place}"
            middle, least, most = statistics.median(found), min(found), max(found)
            print(f"  {name:22s}{middle:7.2f} s  ({least:.2f} to {most:.2f})")


if __name__ == "__main__":
    main()
