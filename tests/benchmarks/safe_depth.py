"""How long the decision under a forecast with a spread takes.

    python -m tests.benchmarks.safe_depth [--blocks 100000]

Blocks and weather are invented. The bar is 3 s on one core for 100,000 blocks on 400 sites, 31
members and 5 days.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from service.agronomy.records import SoilBatch
from service.agronomy.risk_attitude import RiskAttitude, costs_of
from service.agronomy.safe_depth import HORIZON_DAYS, RiskDays, safe_depth
from service.agronomy.weather_members import MemberBatch, MemberOrigin

SITES, MEMBERS = 400, 31
BAR_S = 3.0


def main() -> None:
    """Decide the blocks with equal and with unequal weights, and print processor seconds."""
    parser = argparse.ArgumentParser(description="time of the decision under a spread")
    parser.add_argument("--blocks", type=int, default=100_000)
    count = parser.parse_args().blocks
    random = np.random.default_rng(1)
    days = _invented_days(random, count)
    costs = costs_of(np.full(count, RiskAttitude.BALANCED))
    for name, weights in (
        ("equal weights", np.ones((SITES, MEMBERS))),
        ("unequal weights", random.uniform(0.5, 1.0, (SITES, MEMBERS))),
    ):
        members = _invented_members(random, weights)
        began = time.process_time()
        depth = safe_depth(days, members, costs)
        spent_s = time.process_time() - began
        watered = int((depth.need_mm > 0.0).sum())
        print(f"{count} blocks, {name}: {spent_s:.2f} s (bar {BAR_S:.0f} s), {watered} to water")


def _invented_days(random: np.random.Generator, count: int) -> RiskDays:
    shape = (HORIZON_DAYS, count)
    one = np.ones(count)
    wetted = random.uniform(0.2, 1.0, count)
    curve = np.where(random.random(count) < 0.2, 75.0, np.nan)
    return RiskDays(
        site_index=random.integers(0, SITES, count),
        soil=SoilBatch(one, 0 * one, one, one, wetted, one, 0 * one, one, curve),
        depletion_midnight_mm=random.uniform(0.0, 20.0, count),
        crop_coefficient=np.broadcast_to(random.uniform(0.4, 1.1, count), shape),
        zone_share=np.ones(shape),
        taw_mm=np.broadcast_to(random.uniform(10.0, 80.0, count), shape),
        table_depletion_fraction=random.uniform(0.3, 0.6, count),
        is_dormant=np.zeros(shape, dtype=np.bool_),
        later_day_mm=9.0 * one,
        rain_room_fraction=0.3 * one,
    )


def _invented_members(random: np.random.Generator, weights: np.ndarray) -> MemberBatch:
    shape = (SITES, MEMBERS, HORIZON_DAYS)
    first = np.datetime64("2026-07-01")
    return MemberBatch(
        days=first + np.arange(HORIZON_DAYS),
        rain_mm=np.where(random.random(shape) < 0.4, random.gamma(0.8, 8.0, shape), 0.0),
        et0_mm=random.uniform(2.0, 7.0, shape),
        weights=weights / weights.sum(axis=1, keepdims=True),
        origin=np.full(SITES, MemberOrigin.ENSEMBLE, dtype=np.int64),
    )


if __name__ == "__main__":
    main()
