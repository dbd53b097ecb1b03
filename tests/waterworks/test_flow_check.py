"""Metered against expected flow: which verdicts are given, and which are not.

How often it is right is measured in tests/validation/test_flow_check_detection.py. All seasons
here are invented.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InputInvalid
from service.waterworks.flow_check import (
    FlowCheck,
    FlowVerdict,
    check_flow,
    expected_volume_l,
    flow_ratio,
)
from service.waterworks.records import Floats

RUNS = 120
EXPECTED_L = 6000.0


def checked(course: Floats, *, noise_fraction: float = 0.03, seed: int = 5) -> FlowCheck:
    """A season whose flow follows a course, with the noise of a meter."""
    random = np.random.default_rng(seed)
    noise = 1.0 + noise_fraction * random.normal(size=course.size)
    return check_flow(EXPECTED_L * course * noise, np.full(course.size, EXPECTED_L))


def step(at: int, change: float) -> Floats:
    return np.where(np.arange(RUNS) >= at, 1.0 + change, 1.0)


def slope(change: float) -> Floats:
    return 1.0 + change * np.arange(RUNS) / (RUNS - 1)


def test_expected_volume_is_flow_times_time() -> None:
    np.testing.assert_allclose(expected_volume_l(4000.0, [90.0, 0.0]), [6000.0, 0.0])


def test_ratio_is_missing_where_there_is_nothing_to_compare() -> None:
    ratio = flow_ratio([5400.0, np.nan, 100.0], [6000.0, 6000.0, 0.0])
    assert ratio[0] == pytest.approx(0.9)
    assert np.all(np.isnan(ratio[1:]))


def test_steady_season_is_called_steady() -> None:
    found = checked(np.ones(RUNS))
    assert found.verdict is FlowVerdict.STEADY
    assert not found.jumps
    assert found.slow_change is None
    assert found.noise_fraction == pytest.approx(0.03, rel=0.3)
    np.testing.assert_allclose(found.fitted_ratio, 1.0, atol=0.01)


@pytest.mark.parametrize(
    ("change", "verdict"), [(0.2, FlowVerdict.JUMP_UP), (-0.35, FlowVerdict.JUMP_DOWN)]
)
def test_jump_is_dated_and_measured(change: float, verdict: FlowVerdict) -> None:
    found = checked(step(70, change))
    assert found.verdict is verdict
    (jump,) = found.jumps
    assert abs(jump.run - 70) <= 1
    assert jump.change_fraction == pytest.approx(change, abs=0.03)
    assert found.slow_change is None


def test_closed_valve_is_a_jump_to_nothing() -> None:
    found = checked(step(90, -1.0))
    assert found.verdict is FlowVerdict.JUMP_DOWN
    assert found.jumps[0].run == 90
    assert found.jumps[0].change_fraction == pytest.approx(-1.0, abs=0.03)


@pytest.mark.parametrize(
    ("change", "verdict"), [(-0.15, FlowVerdict.SLOW_DECLINE), (0.15, FlowVerdict.SLOW_RISE)]
)
def test_slow_change_is_told_from_a_jump(change: float, verdict: FlowVerdict) -> None:
    found = checked(slope(change))
    assert found.verdict is verdict
    assert not found.jumps
    assert found.slow_change is not None
    assert found.slow_change.change_fraction == pytest.approx(change, abs=0.04)


def test_slow_change_states_its_pace() -> None:
    found = checked(slope(-0.15), noise_fraction=0.01).slow_change
    assert found is not None
    lasting = RUNS - 1 - found.from_run
    assert found.change_per_100_runs_fraction == pytest.approx(
        100.0 * found.change_fraction / lasting
    )


def test_leak_while_emitters_clog_is_told_apart() -> None:
    found = checked(slope(-0.15) + step(60, 0.2) - 1.0, noise_fraction=0.02)
    assert found.verdict is FlowVerdict.SEVERAL
    assert found.slow_change is not None
    assert found.slow_change.change_fraction < -0.05
    assert len(found.jumps) == 1
    assert found.jumps[0].change_fraction == pytest.approx(0.2, abs=0.05)


def test_leak_that_is_mended_is_two_jumps() -> None:
    found = checked(step(40, 0.2) - step(80, 0.2) + 1.0)
    assert found.verdict is FlowVerdict.SEVERAL
    assert [abs(jump.run - at) <= 1 for jump, at in zip(found.jumps, (40, 80), strict=True)]
    assert [jump.change_fraction > 0 for jump in found.jumps] == [True, False]


def test_odd_runs_are_named_and_change_nothing() -> None:
    course = np.ones(RUNS)
    course[[30, 61, 95]] = [0.4, 1.5, 0.0]
    found = checked(course)
    assert found.verdict is FlowVerdict.STEADY
    assert {30, 61, 95} <= set(found.odd_runs)


def test_newest_run_that_stands_out_is_pointed_at_before_anything_is_concluded() -> None:
    course = np.ones(RUNS)
    course[-1] = 0.5
    found = checked(course)
    assert found.is_last_run_odd
    assert found.verdict is FlowVerdict.STEADY
    assert not checked(np.ones(RUNS), seed=6).is_last_run_odd


def test_level_that_is_off_from_the_start_is_no_change_but_is_said() -> None:
    found = checked(np.full(RUNS, 0.8))
    assert found.verdict is FlowVerdict.STEADY
    assert found.is_level_off
    assert found.level_ratio == pytest.approx(0.8, abs=0.02)
    assert not checked(np.ones(RUNS)).is_level_off


def test_changes_are_shares_of_the_level_at_the_start() -> None:
    found = checked(0.5 * step(70, 0.2))
    assert found.jumps[0].change_fraction == pytest.approx(0.2, abs=0.03)


def test_change_below_three_percent_is_not_reported() -> None:
    assert checked(step(60, 0.02), noise_fraction=0.002).verdict is FlowVerdict.DRIFT
    assert checked(step(60, 0.04), noise_fraction=0.002).verdict is FlowVerdict.JUMP_UP


def test_a_leak_that_was_mended_is_no_alarm_any_more() -> None:
    open_leak = checked(step(40, 0.2))
    mended = checked(step(40, 0.2) - step(80, 0.2) + 1.0)
    assert open_leak.is_alarm
    assert not mended.is_alarm
    assert mended.alarm_runs


def test_swing_of_pressure_with_the_season_is_no_alarm() -> None:
    swing = 1.0 + 0.03 * np.cos(2.0 * np.pi * np.arange(RUNS) / RUNS)
    found = checked(swing, noise_fraction=0.01)
    assert found.verdict is FlowVerdict.DRIFT
    assert not found.is_alarm
    assert not found.jumps


def test_slow_change_just_begun_is_not_called_a_jump() -> None:
    found = checked(slope(-0.25)[:46])
    assert found.verdict is FlowVerdict.FELL
    assert found.is_alarm
    assert found.change_fraction == pytest.approx(-0.25 * 45 / 119, abs=0.04)


def test_what_can_be_found_follows_from_the_spread_of_the_block() -> None:
    calm = checked(np.ones(RUNS), noise_fraction=0.03).delays
    rough = checked(np.ones(RUNS), noise_fraction=0.14).delays
    assert [delay.loss_fraction for delay in calm] == [0.1, 0.2, 0.3, 0.5]
    assert calm[0].sudden_run_count < 6
    assert 9 < rough[1].sudden_run_count < 18


def test_too_few_runs_say_nothing() -> None:
    found = check_flow(np.full(19, EXPECTED_L), np.full(19, EXPECTED_L))
    assert found.verdict is FlowVerdict.TOO_FEW_RUNS
    assert np.all(np.isnan(found.fitted_ratio))
    assert check_flow([], []).verdict is FlowVerdict.TOO_FEW_RUNS


def test_runs_that_were_not_read_are_left_out_and_keep_their_numbers() -> None:
    random = np.random.default_rng(2)
    metered = EXPECTED_L * step(70, 0.2) * (1.0 + 0.02 * random.normal(size=RUNS))
    metered[random.choice(60, size=20, replace=False)] = np.nan
    found = check_flow(metered, np.full(RUNS, EXPECTED_L))
    assert found.verdict is FlowVerdict.JUMP_UP
    assert abs(found.jumps[0].run - 70) <= 1
    assert np.array_equal(np.isnan(found.fitted_ratio), np.isnan(metered))


def test_runs_of_any_length_are_compared_by_their_ratio() -> None:
    random = np.random.default_rng(3)
    expected = random.uniform(500.0, 20_000.0, size=RUNS)
    metered = expected * step(70, 0.2) * (1.0 + 0.03 * random.normal(size=RUNS))
    assert check_flow(metered, expected).verdict is FlowVerdict.JUMP_UP


@pytest.mark.parametrize(
    ("metered", "expected", "text"),
    [
        ([1.0, 2.0], [1.0], "same length"),
        ([1.0, -2.0], [1.0, 1.0], "metered_volume_l: run 1"),
        ([1.0, 2.0], [1.0, np.inf], "expected_l: run 1"),
    ],
)
def test_volumes_that_cannot_be_are_refused(
    metered: list[float], expected: list[float], text: str
) -> None:
    with pytest.raises(InputInvalid, match=text):
        check_flow(metered, expected)


@given(
    st.lists(st.floats(0.0, 3.0), min_size=20, max_size=60),
    st.floats(0.01, 100.0),
)
def test_unit_of_the_volumes_does_not_matter(ratios: list[float], unit: float) -> None:
    expected = np.full(len(ratios), 1000.0)
    first = check_flow(expected * ratios, expected)
    other = check_flow(expected * ratios * unit, expected * unit)
    assert first.verdict is other.verdict
    assert [jump.run for jump in first.jumps] == [jump.run for jump in other.jumps]
