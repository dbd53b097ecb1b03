"""Which description of a season fits best. All series are invented."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import ArrayLike

from service.waterworks.flow_fit import FlowFits, best_fits, refit
from service.waterworks.flow_watch import FlowNoise, flow_noise, flow_signals
from service.waterworks.records import Floats

RUN = np.arange(120)


def fitted(course: ArrayLike) -> tuple[FlowFits, Floats, FlowNoise]:
    ratio = np.asarray(course, np.float64) * (
        1.0 + 0.02 * np.random.default_rng(4).normal(size=RUN.size)
    )
    noise = flow_noise(ratio)
    return best_fits(ratio, flow_signals(ratio), noise), ratio, noise


def test_jump_beside_a_slow_course_is_taken_apart() -> None:
    best = fitted(1.0 - 0.2 * RUN / 119 + 0.3 * (RUN >= 60))[0].best
    assert best.steps == (60,)
    assert best.step_sizes[0] == pytest.approx(0.3, abs=0.04)
    assert best.slow_course(RUN.size)[-1] == pytest.approx(-0.2, abs=0.04)


def test_swing_is_followed_by_a_course_without_steps() -> None:
    swing = 1.0 + 0.1 * np.sin(2.0 * np.pi * RUN / 120)
    best = fitted(swing)[0].best
    assert best.steps == ()
    np.testing.assert_allclose(best.fitted(RUN.size), swing, atol=0.03)


def test_steps_below_the_least_are_left_out_on_request() -> None:
    fits, ratio, noise = fitted(1.0 + 0.3 * (RUN >= 60))
    assert refit(fits.best, ratio, noise, 0.1) is fits.best
    assert refit(fits.best, ratio, noise, 0.5).steps == ()
