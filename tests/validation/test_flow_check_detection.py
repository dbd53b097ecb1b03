"""How often the flow check is right, how soon, and how often it cries wolf.

There is no open record of metered drip blocks with known faults, so seasons are simulated (see
flow_seasons): 150 runs, a meter and pressure noise of 3 % from run to run, seeds fixed. The design
of the cumulative sums is held against the Markov chain of Brook and Evans 1972 (Biometrika
59:539-549) and the published table of Hawkins 1993 (Journal of Quality Technology 25:463-477, as
reprinted in Montgomery, Introduction to Statistical Quality Control; from memory).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from statistics import NormalDist, mean, median

import numpy as np
import pytest

from service.waterworks.flow_check import FlowVerdict, check_flow
from service.waterworks.flow_watch import (
    RUNS_BETWEEN_FALSE_ALARMS,
    SLOW_REFERENCE,
    SUDDEN_REFERENCE,
    decision_limit,
    fault_delays,
    flow_noise,
    flow_signals,
)
from tests.validation.flow_seasons import RUN_COUNT, Course, invented_season, remembered_noise

SEASON_COUNT = 40
CALM = {FlowVerdict.STEADY, FlowVerdict.DRIFT}
DOWN = {FlowVerdict.JUMP_DOWN, FlowVerdict.FELL}


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


def looks(course: Course, seed: int) -> Iterator[tuple[int, FlowVerdict]]:
    """Runs known and verdict of every look that alarms, looking after each second run."""
    ratio = invented_season(course, seed).ratio
    signals = flow_signals(ratio)
    if not signals:
        return
    begin = max(20, signals[0].run + 1)
    for known in range(begin + begin % 2, RUN_COUNT + 1, 2):
        check = check_flow(ratio[:known], np.ones(known))
        if check.is_alarm:
            yield known, check.verdict


@pytest.mark.parametrize(("reference", "decision"), [(0.5, 4.77), (0.75, 3.34), (1.0, 2.52)])
def test_chain_gives_the_published_run_length(reference: float, decision: float) -> None:
    # Hawkins 1993, from memory: these pairs have an average run length of 370 in control.
    assert average_run_length(reference, decision, 150) == pytest.approx(370.0, rel=0.02)


@pytest.mark.parametrize("reference", [SUDDEN_REFERENCE, SLOW_REFERENCE])
def test_limits_give_twice_the_stated_run_length_to_each_sum(reference: float) -> None:
    # The two together alarm at most as often as stated.
    limit = decision_limit(reference, 4.0 * RUNS_BETWEEN_FALSE_ALARMS)
    found = average_run_length(reference, limit, 250)
    assert found == pytest.approx(2.0 * RUNS_BETWEEN_FALSE_ALARMS, rel=0.03)


@pytest.mark.parametrize(("memory", "at_least"), [(0.0, 2500), (0.3, 1800), (0.5, 1500)])
def test_steady_blocks_alarm_once_in_thousands_of_runs(memory: float, at_least: int) -> None:
    alarms = 0
    for seed in range(20):
        noise = remembered_noise(np.random.default_rng([seed, 8]), 3000, memory)
        alarms += len(flow_signals(1.0 + 0.14 * noise))
    assert 60_000 / max(alarms, 1) >= at_least


@pytest.mark.parametrize(
    ("course", "at_most"),
    [
        (Course(), 2),
        (Course(noise=0.14), 2),
        (Course(odd_run_count=5), 4),
        (Course(memory=0.3), 16),
        (Course(memory=0.5), 34),
    ],
    ids=str,
)
def test_steady_season_rarely_alarms_at_any_look(course: Course, at_most: int) -> None:
    # Of 200 seasons; looking only after each second run, or once, can but give less.
    alarms = [bool(flow_signals(invented_season(course, seed).ratio)) for seed in range(200)]
    assert sum(alarms) <= at_most


@pytest.mark.parametrize(
    ("course", "verdict", "at_least"),
    [
        (Course(jump=0.10), FlowVerdict.JUMP_UP, 38),
        (Course(jump=-0.10), FlowVerdict.JUMP_DOWN, 38),
        (Course(jump=-0.60), FlowVerdict.JUMP_DOWN, 38),
        (Course(jump=0.05), FlowVerdict.JUMP_UP, 22),
        (Course(slow=-0.15), FlowVerdict.SLOW_DECLINE, 38),
        (Course(late=-0.15), FlowVerdict.SLOW_DECLINE, 37),
        (Course(jump=0.15, slow=-0.15), FlowVerdict.SEVERAL, 36),
        (Course(jump=0.10, noise=0.05), FlowVerdict.JUMP_UP, 35),
        (Course(slow=-0.15, noise=0.05), FlowVerdict.SLOW_DECLINE, 34),
        (Course(jump=0.10, memory=0.3), FlowVerdict.JUMP_UP, 37),
        (Course(slow=-0.15, memory=0.3), FlowVerdict.SLOW_DECLINE, 36),
    ],
    ids=str,
)
def test_leak_and_clogging_are_found_and_told_apart(
    course: Course, verdict: FlowVerdict, at_least: int
) -> None:
    assert verdicts(course)[verdict] >= at_least


@pytest.mark.parametrize("phase", [0.0, 0.25, 0.5, 0.75])
@pytest.mark.parametrize("noise", [0.01, 0.03])
def test_swing_of_three_percent_is_not_called_a_closed_valve(noise: float, phase: float) -> None:
    found = verdicts(Course(noise=noise, swing=0.03, phase=phase), 20)
    assert found[FlowVerdict.JUMP_DOWN] <= 1
    assert sum(found[verdict] for verdict in CALM) >= 18


def test_swing_is_no_closed_valve_at_any_look_either() -> None:
    named = [
        {verdict for _, verdict in looks(Course(swing=0.03, phase=0.25), seed)} for seed in range(6)
    ]
    assert not any(FlowVerdict.JUMP_DOWN in verdict for verdict in named)


def test_slow_clogging_is_no_jump_at_the_first_look_that_alarms() -> None:
    for seed in range(25):
        known, verdict = next(looks(Course(slow=-0.25), seed))
        assert verdict in {FlowVerdict.FELL, FlowVerdict.SLOW_DECLINE}
        assert 0.25 * known / RUN_COUNT < 0.12


def test_jump_of_ten_percent_is_dated_within_a_run() -> None:
    apart = []
    for seed in range(SEASON_COUNT):
        season = invented_season(Course(jump=0.10), seed)
        found = check_flow(season.ratio, np.ones(RUN_COUNT))
        apart.append(abs(found.jumps[0].run - season.change_at) if found.jumps else RUN_COUNT)
    assert median(apart) <= 1


@pytest.mark.parametrize(
    ("noise", "jump", "least"), [(0.14, -0.2, 36), (0.23, -0.2, 22), (0.23, -0.3, 36)]
)
def test_faults_are_found_in_the_noise_of_real_systems(
    noise: float, jump: float, least: int
) -> None:
    found = verdicts(Course(noise=noise, jump=jump))
    assert sum(found[verdict] for verdict in DOWN) >= least


def test_slow_loss_of_thirty_percent_is_found_in_the_noise_of_real_systems() -> None:
    for noise, least in ((0.14, 38), (0.23, 28)):
        found = verdicts(Course(noise=noise, slow=-0.3))
        assert sum(found[each] for each in (*DOWN, FlowVerdict.SLOW_DECLINE)) >= least


@pytest.mark.parametrize("memory", [0.0, 0.3])
@pytest.mark.parametrize(("noise", "place"), [(0.03, 0), (0.14, 1), (0.14, 2), (0.23, 2)])
def test_delay_that_is_told_is_the_delay_found(noise: float, place: int, memory: float) -> None:
    told, found = [], []
    for seed in range(80):
        ratio = 1.0 + noise * remembered_noise(np.random.default_rng([seed, 9]), 260, memory)
        delay = fault_delays(flow_noise(ratio[:60]))[place]
        told.append(delay.sudden_run_count)
        ratio[60:] -= delay.loss_fraction
        shown = [signal.run - 59 for signal in flow_signals(ratio) if signal.run >= 60]
        found.append(shown[0] if shown else 200)
    assert median(told) == pytest.approx(mean(found), rel=0.45)
