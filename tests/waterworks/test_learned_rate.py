"""The rate that a meter shows, offered only where it surely is another one. Runs are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.waterworks.learned_rate import (
    LEAST_RATE_RUN_COUNT,
    RATE_RUN_COUNT,
    learned_rate,
)
from tests.validation.flow_seasons import remembered_noise


def clear_share(level: float, spread: float, *, count: int = 20, memory: float = 0.0) -> float:
    """Share of 400 invented series whose rate would be offered."""
    found = [
        learned_rate(
            level
            * (1.0 + spread * remembered_noise(np.random.default_rng([seed, 5]), count, memory))
        ).is_clear
        for seed in range(400)
    ]
    return float(np.mean(found))


def test_it_is_the_median_of_the_latest_runs() -> None:
    runs = [2.0] * 30 + [1.1] * (RATE_RUN_COUNT - 1) + [5.0]
    found = learned_rate(runs)
    assert (found.run_count, found.rate_ratio) == (RATE_RUN_COUNT, 1.1)


def test_fewer_than_five_runs_offer_nothing() -> None:
    found = learned_rate([1.3] * (LEAST_RATE_RUN_COUNT - 1))
    assert math.isnan(found.rate_ratio)
    assert not found.is_enough and not found.is_clear
    assert learned_rate([1.3] * LEAST_RATE_RUN_COUNT).is_clear


def test_three_percent_is_within_the_error_of_a_meter() -> None:
    assert not learned_rate([1.029] * 20).is_clear
    assert learned_rate([1.031] * 20).is_clear
    assert learned_rate([0.969] * 20).is_clear


@pytest.mark.parametrize(("spread", "memory"), [(0.1, 0.0), (0.14, 0.0), (0.14, 0.3), (0.23, 0.0)])
def test_a_block_that_gives_its_design_is_seldom_offered_another_rate(
    spread: float, memory: float
) -> None:
    assert clear_share(1.0, spread, memory=memory) < 0.04


def test_a_rate_of_567_to_492_is_offered_at_the_spread_of_real_systems() -> None:
    """Three metered seasons of a drip system; the spread is that of healthy ones, 10 to 17 %."""
    assert clear_share(567.0 / 492.0, 0.10) > 0.95
    assert clear_share(567.0 / 492.0, 0.14) > 0.7
    assert clear_share(567.0 / 492.0, 0.17) > 0.5


def test_the_error_is_that_of_the_median_of_such_runs() -> None:
    medians, stated = [], []
    for seed in range(400):
        noise = np.random.default_rng([seed, 6]).normal(size=20)
        found = learned_rate(1.0 + 0.12 * noise)
        medians.append(found.rate_ratio)
        stated.append(found.error_fraction)
    # The memory that is assumed until the runs tell makes it larger, by about a quarter.
    assert np.std(medians) <= np.median(stated) <= 1.5 * np.std(medians)
