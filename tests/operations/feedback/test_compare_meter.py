"""Metered water against what a block's emitters give, within the band of its own runs."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from service.bootstrap import Service
from service.errors import NotFound
from service.operations.feedback.compare_meter import (
    LOOKBACK_DAYS,
    SHORTEST_CHECK_MIN,
    BlockMeter,
    FlowNote,
    MeteredRun,
    compare_meter,
    flow_note,
)
from service.waterworks.metered_run import passable_flow
from tests.api.invented_farm import BLOCK_ID, RUN_AT, TODAY, FixedClock
from tests.factories import make_block
from tests.operations.metered_runs import store_runs

# 4000 m2 in rows of 3 m with two lines of emitters every 0.46 m, 2 L/h each; by hand.
FLOW_L_PER_H = 4000.0 / (3.0 * 0.46) * 2.0 * 2.0


def note(volume_l: float, minutes: float = 60.0, *, band_fraction: float = 0.1) -> FlowNote:
    meter = BlockMeter("a.b", FLOW_L_PER_H, band_fraction, passable_flow(FLOW_L_PER_H))
    return flow_note(meter, [MeteredRun(minutes, volume_l, is_booked=True)])


def compared(service: Service, *, later: timedelta = timedelta(0)) -> FlowNote:
    clock = FixedClock(RUN_AT + later)
    return compare_meter(BLOCK_ID, unit_of_work=service.unit_of_work, clock=clock)


def test_the_flow_of_a_block_is_that_of_all_its_emitters() -> None:
    assert make_block().flow_l_per_h == pytest.approx(FLOW_L_PER_H)


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [(1.0, "as-expected"), (1.0999, "as-expected"), (0.9001, "as-expected"),
     (1.1001, "leak-suspected"), (0.8999, "clogging-suspected"), (0.0, "clogging-suspected")],
)  # fmt: skip
def test_a_tenth_more_or_less_is_suspected(ratio: float, verdict: str) -> None:
    found = note(ratio * FLOW_L_PER_H)
    assert found.verdict == verdict
    assert found.flow_ratio == pytest.approx(ratio)
    assert found.expected_volume_l == pytest.approx(FLOW_L_PER_H)


def test_the_band_is_that_of_the_block() -> None:
    """A healthy system that differs by 14 % from run to run is not suspected at 25 %."""
    for ratio, verdict in ((1.25, "as-expected"), (0.75, "as-expected"), (1.3, "leak-suspected")):
        found = note(ratio * FLOW_L_PER_H, band_fraction=0.28)
        assert (found.verdict, found.band_fraction) == (verdict, 0.28)


def season(service: Service, spread: float, count: int) -> None:
    """Invented runs of an hour, one on each of the days before today."""
    noise = 1.0 + spread * np.random.default_rng(3).normal(size=count)
    with service.unit_of_work(write=False) as unit:
        flow_l_per_h = unit.blocks.get_block(BLOCK_ID, day=TODAY).flow_l_per_h
    days = [TODAY - timedelta(days=count - place) for place in range(count)]
    store_runs(service.unit_of_work, BLOCK_ID, days, (flow_l_per_h * noise).tolist())


@pytest.mark.parametrize(
    ("spread", "count", "least", "most"), [(0.15, 40, 0.2, 0.4), (0.02, 40, 0.1, 0.1),
                                           (0.15, 19, 0.1, 0.1)]
)  # fmt: skip
def test_the_band_follows_the_spread_of_at_least_twenty_stored_runs(
    own_service: Service, spread: float, count: int, least: float, most: float
) -> None:
    season(own_service, spread, count)
    assert least <= compared(own_service).band_fraction <= most


def test_little_running_time_says_nothing_of_the_emitters() -> None:
    assert note(1.0, SHORTEST_CHECK_MIN - 0.1).verdict == "too-short"
    assert note(1.0, SHORTEST_CHECK_MIN).verdict == "clogging-suspected"
    nothing = note(0.0, 0.0)
    assert (nothing.verdict, nothing.flow_ratio) == ("too-short", None)


def test_the_metered_runs_of_a_block_count_together_and_others_do_not(
    own_service: Service,
) -> None:
    assert compared(own_service).verdict == "too-short"
    store_runs(
        own_service.unit_of_work,
        BLOCK_ID,
        [TODAY - timedelta(days=ago) for ago in (1, 2, 3)],
        [5000.0, 7000.0, None],
        minutes=[60.0, 30.0, 90.0],
    )
    found = compared(own_service)
    assert (found.block_id, found.run_count) == (BLOCK_ID, 2)
    assert (found.duration_min, found.volume_l) == (90.0, 12_000.0)


def test_runs_of_the_last_fortnight_count_and_older_ones_do_not(own_service: Service) -> None:
    store_runs(own_service.unit_of_work, BLOCK_ID, [TODAY], [5000.0])
    for later, run_count in ((LOOKBACK_DAYS, 1), (LOOKBACK_DAYS + 1, 0)):
        assert compared(own_service, later=timedelta(days=later)).run_count == run_count


def test_a_block_that_is_not_stored_is_not_found(own_service: Service) -> None:
    with pytest.raises(NotFound, match=r"test-farm\.nowhere"):
        compare_meter(
            "test-farm.nowhere", unit_of_work=own_service.unit_of_work, clock=own_service.clock
        )
