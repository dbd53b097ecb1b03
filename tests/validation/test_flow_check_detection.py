"""How often the flow check is right, how soon, and how often it cries wolf.

There is no open record of metered drip blocks with known faults, so seasons are simulated (see
flow_seasons): 150 runs, a meter and pressure noise of 3 % from run to run, seeds fixed. The design
of the cumulative sum is held against the published table of Hawkins 1993 (Journal of Quality
Technology 25:463-477, as reprinted in Montgomery, Introduction to Statistical Quality Control; from
memory) by the Markov chain of Brook and Evans 1972 (Biometrika 59:539-549).
"""

from __future__ import annotations

from collections import Counter
from statistics import NormalDist, median

import numpy as np
import pytest

from service.waterworks.flow_check import (
    CUSUM_DECISION,
    CUSUM_REFERENCE,
    LEAST_RUN_COUNT,
    FlowVerdict,
    check_flow,
)
from tests.validation.flow_seasons import RUN_COUNT, Course, Season, invented_season

SEASON_COUNT = 100


def average_run_length(reference: float, decision: float, state_count: int) -> float:
    """Runs until a two-sided cumulative sum of standard normal values signals, from zero."""
    width = 2.0 * decision / (2 * state_count - 1)
    cdf = NormalDist().cdf
    move = np.array(
        [
            [cdf((to - start + 0.5) * width + reference) for to in range(state_count)]
            for start in range(state_count)
        ]
    )
    chance = np.diff(move, axis=1, prepend=0.0)
    chance[:, 0] = move[:, 0]
    one_sided = np.linalg.solve(np.eye(state_count) - chance, np.ones(state_count))
    return float(one_sided[0]) / 2.0


def verdicts(course: Course, count: int = SEASON_COUNT) -> Counter[FlowVerdict]:
    return Counter(
        check_flow(invented_season(course, seed).ratio, np.ones(RUN_COUNT)).verdict
        for seed in range(count)
    )


def first_report(season: Season, from_run: int) -> int | None:
    """Runs known when the check, repeated after each run, first reports a change."""
    for known in range(from_run, RUN_COUNT + 1):
        found = check_flow(season.ratio[:known], np.ones(known))
        if found.verdict not in (FlowVerdict.STEADY, FlowVerdict.TOO_FEW_RUNS):
            return known
    return None


@pytest.mark.parametrize(("reference", "decision"), [(0.5, 4.77), (0.75, 3.34), (1.0, 2.52)])
def test_run_length_is_that_of_the_published_table(reference: float, decision: float) -> None:
    # Hawkins 1993, from memory: these pairs have an average run length of 370 in control.
    assert average_run_length(reference, decision, 150) == pytest.approx(370.0, rel=0.02)


def test_cumulative_sum_signals_by_chance_once_in_9500_runs() -> None:
    found = average_run_length(CUSUM_REFERENCE, CUSUM_DECISION, 200)
    assert found == pytest.approx(9500.0, rel=0.01)


@pytest.mark.parametrize(
    "course",
    [
        Course(),
        Course(noise=0.02),
        Course(noise=0.05),
        Course(odd_run_count=5),
        Course(memory=0.3),
    ],
    ids=["noise 3 %", "noise 2 %", "noise 5 %", "five odd runs", "noise with memory 0.3"],
)
def test_steady_season_is_called_steady_at_its_end(course: Course) -> None:
    assert verdicts(course)[FlowVerdict.STEADY] >= 98


@pytest.mark.parametrize(
    ("course", "verdict", "at_least"),
    [
        (Course(jump=0.05), FlowVerdict.JUMP_UP, 92),
        (Course(jump=0.10), FlowVerdict.JUMP_UP, 98),
        (Course(jump=-0.10), FlowVerdict.JUMP_DOWN, 98),
        (Course(jump=0.20), FlowVerdict.JUMP_UP, 98),
        (Course(jump=-0.60), FlowVerdict.JUMP_DOWN, 95),
        (Course(slow=-0.10), FlowVerdict.SLOW_DECLINE, 92),
        (Course(slow=-0.15), FlowVerdict.SLOW_DECLINE, 97),
        (Course(slow=-0.25), FlowVerdict.SLOW_DECLINE, 97),
        (Course(late=-0.15), FlowVerdict.SLOW_DECLINE, 95),
        (Course(jump=0.15, slow=-0.15), FlowVerdict.SEVERAL, 95),
        (Course(jump=0.10, noise=0.05), FlowVerdict.JUMP_UP, 93),
        (Course(slow=-0.15, noise=0.05), FlowVerdict.SLOW_DECLINE, 85),
        (Course(jump=0.10, memory=0.3), FlowVerdict.JUMP_UP, 90),
        (Course(slow=-0.15, memory=0.3), FlowVerdict.SLOW_DECLINE, 90),
    ],
    ids=str,
)
def test_leak_and_clogging_are_found_and_told_apart(
    course: Course, verdict: FlowVerdict, at_least: int
) -> None:
    assert verdicts(course)[verdict] >= at_least


def test_leak_of_ten_percent_is_dated_within_a_run() -> None:
    apart = []
    for seed in range(SEASON_COUNT):
        season = invented_season(Course(jump=0.10), seed)
        found = check_flow(season.ratio, np.ones(RUN_COUNT))
        apart.append(abs(found.jumps[0].run - season.change_at) if found.jumps else RUN_COUNT)
    assert median(apart) <= 1


def test_check_after_each_run_rarely_cries_wolf_in_a_steady_season() -> None:
    # Each season is 131 checks, so this is the rate that a grower meets.
    alarms = [
        first_report(invented_season(Course(), seed), LEAST_RUN_COUNT) is not None
        for seed in range(30)
    ]
    assert sum(alarms) <= 1


@pytest.mark.parametrize(
    ("jump", "typical_runs", "slow_runs"), [(0.10, 4, 8), (0.20, 3, 4), (-0.60, 3, 4)]
)
def test_jump_is_reported_within_days(jump: float, typical_runs: int, slow_runs: int) -> None:
    waits = []
    for seed in range(40):
        season = invented_season(Course(jump=jump), seed)
        known = first_report(season, season.change_at + 1)
        waits.append(RUN_COUNT if known is None else known - season.change_at)
    assert median(waits) <= typical_runs
    assert sorted(waits)[35] <= slow_runs  # nine in ten


def test_clogging_is_reported_before_a_tenth_of_the_flow_is_lost() -> None:
    lost = []
    for seed in range(12):
        known = first_report(invented_season(Course(slow=-0.25), seed), LEAST_RUN_COUNT)
        lost.append(1.0 if known is None else 0.25 * known / RUN_COUNT)
    assert median(lost) < 0.09
    assert max(lost) < 0.12
