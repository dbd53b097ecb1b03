"""One metered run: its minutes, its band, the flows that are believed. All runs are invented."""

from __future__ import annotations

import math

import numpy as np
import pytest

from service.pulses import Pulse
from service.waterworks.metered_run import (
    FlowLimit,
    flowing_min,
    passable_flow,
    run_band_fraction,
)
from tests.validation.flow_seasons import remembered_noise

DAY = (Pulse(300, 60), Pulse(480, 60), Pulse(660, 60))


@pytest.mark.parametrize(
    ("start", "minutes", "design_min", "found"),
    [
        (300.0, 60.0, 30.0, 60.0),  # one pulse: the minutes, whatever was metered
        (300.0, 240.0, 115.0, 120.0),  # two of them with the rest between
        (300.0, 420.0, 185.0, 180.0),  # all three
        (330.0, 180.0, 60.0, 60.0),  # from the middle of one to the middle of the next
        (300.0, 240.0, 230.0, 240.0),  # on through the rest
        (300.0, 240.0, 0.0, 240.0),  # nothing was metered
        (0.0, 200.0, 10.0, 200.0),  # before any pulse
    ],
)
def test_minutes_are_those_of_the_pulses_where_the_volume_fits_them_better(
    start: float, minutes: float, design_min: float, found: float
) -> None:
    assert flowing_min(start, minutes, DAY, design_min=design_min) == found


def test_without_pipes_a_volume_is_believed_from_half_to_one_and_a_half_of_the_design() -> None:
    flow = passable_flow(1000.0, supply_l_per_h=1100.0)
    assert flow.limit is FlowLimit.EMITTERS
    assert [flow.holds(volume, 60.0) for volume in (499.0, 500.0, 1500.0, 1501.0)] == [
        False, True, True, False,
    ]  # fmt: skip
    assert flow.holds(250.0, 30.0) and not flow.holds(0.0, 0.0)


@pytest.mark.parametrize(
    ("pipes", "supply", "spread", "limit", "most"),
    [
        (1700.0, 5000.0, math.nan, FlowLimit.PIPES, 1.25 * 1700.0),
        (1700.0, 1300.0, math.nan, FlowLimit.SUPPLY, 1.25 * 1300.0),
        (1000.0, 5000.0, 0.03, FlowLimit.PIPES, 1250.0),
        (1000.0, 5000.0, 0.15, FlowLimit.PIPES, 1450.0),
    ],
)
def test_with_pipes_the_smaller_of_lines_and_supply_is_the_limit(
    pipes: float, supply: float, spread: float, limit: FlowLimit, most: float
) -> None:
    flow = passable_flow(1000.0, pipes_l_per_h=pipes, supply_l_per_h=supply, spread_fraction=spread)
    assert flow.limit is limit
    assert flow.most_l_per_h == pytest.approx(most)
    assert flow.least_l_per_h == 500.0


def suspected_share(spread: float, *, memory: float = 0.0, has_own_band: bool = True) -> float:
    """Share of the runs of healthy seasons that are outside of the band made by earlier runs."""
    suspected, count = 0, 0
    for seed in range(60):
        random = np.random.default_rng([seed, 77])
        ratio = 1.0 + spread * remembered_noise(random, 100, memory)
        for run in range(40, 100):
            band = run_band_fraction(ratio[:run]) if has_own_band else 0.1
            suspected += abs(ratio[run] - 1.0) > band
            count += 1
    return suspected / count


@pytest.mark.parametrize("spread", [0.10, 0.14, 0.17])
@pytest.mark.parametrize("memory", [0.0, 0.3])
def test_runs_of_a_healthy_system_are_seldom_suspected(spread: float, memory: float) -> None:
    """Real healthy systems differ by 10 to 17 % from run to run; a fixed 10 % suspects them often.

    Two standard deviations of a normal distribution leave 4.6 % outside.
    """
    assert suspected_share(spread, memory=memory, has_own_band=False) > 0.28
    assert suspected_share(spread, memory=memory) < 0.08


def test_a_leak_within_the_past_runs_hardly_widens_the_band() -> None:
    random = np.random.default_rng(5)
    ratio = 1.0 + 0.05 * random.normal(size=60)
    leaking = np.where(np.arange(60) < 30, ratio, ratio + 0.4)
    assert run_band_fraction(leaking) < 1.4 * run_band_fraction(ratio)
    assert run_band_fraction(1.0 + 0.9 * random.normal(size=60)) == 0.5
