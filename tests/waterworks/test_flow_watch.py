"""Watching run by run: alarms, noise and delays. All series are invented.

How often it is right is measured in tests/validation/test_flow_check_detection.py.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.waterworks.flow_watch import (
    FlowNoise,
    decision_limit,
    fault_delays,
    flow_noise,
    flow_signals,
    mean_run_length,
)
from tests.validation.flow_seasons import Course, invented_season


@pytest.mark.parametrize(
    ("limit", "shift", "published"),
    [(4.0, 0.0, 168.0), (5.0, 0.0, 465.0), (4.0, 1.0, 8.38), (5.0, 1.0, 10.4)],
)
def test_run_length_is_that_of_the_published_table(
    limit: float, shift: float, published: float
) -> None:
    # Montgomery, Introduction to Statistical Quality Control, two sides, k = 0.5; from memory.
    sides = [mean_run_length(0.5, limit, sign * shift) for sign in (1.0, -1.0)]
    assert 1.0 / sum(1.0 / side for side in sides) == pytest.approx(published, rel=0.02)


def test_limit_gives_the_run_length_asked_for() -> None:
    assert mean_run_length(0.25, decision_limit(0.25, 12_000.0)) == pytest.approx(12_000.0)


def test_later_runs_change_no_alarm_that_was_raised() -> None:
    ratio = invented_season(Course(jump=-0.2, noise=0.14), 3).ratio
    found = flow_signals(ratio)
    assert found
    for known in range(20, ratio.size, 7):
        before = [signal for signal in found if signal.run < known]
        assert list(flow_signals(ratio[:known])) == before


def test_one_odd_run_raises_no_alarm_and_two_alike_nearly_do() -> None:
    noise = np.tile([0.97, 1.01, 1.03, 0.98, 1.01], 12)
    odd = noise.copy()
    odd[40] = 0.2
    assert not flow_signals(odd)
    odd[41:43] = 0.2
    assert [signal.run for signal in flow_signals(odd)] == [42]


def test_a_series_without_any_noise_alarms_nobody() -> None:
    assert not flow_signals(np.ones(100))
    assert not flow_signals(np.zeros(100))
    assert not flow_signals([])


@pytest.mark.parametrize("memory", [0.0, 0.3, 0.5])
def test_spread_and_memory_of_a_block_are_found_beside_a_jump(memory: float) -> None:
    found = [
        flow_noise(invented_season(Course(jump=0.3, memory=memory), seed).ratio)
        for seed in range(40)
    ]
    assert np.mean([noise.spread_fraction for noise in found]) == pytest.approx(0.033, abs=0.005)
    assert np.mean([noise.memory for noise in found]) == pytest.approx(memory, abs=0.15)


def test_a_larger_fault_shows_sooner_and_a_noisier_block_later() -> None:
    calm, rough = (fault_delays(FlowNoise(spread, 0.2)) for spread in (0.05, 0.2))
    for delays in (calm, rough):
        sudden = [delay.sudden_run_count for delay in delays]
        assert sudden == sorted(sudden, reverse=True)
    assert all(
        one.sudden_run_count <= other.sudden_run_count
        for one, other in zip(calm, rough, strict=True)
    )
    assert math.isinf(rough[0].sudden_run_count)
    assert fault_delays(FlowNoise(math.nan, 0.2)) == ()
