"""How soon a supply is done with its blocks, and what scheduling costs per block.

Run with ``python -m tests.benchmarks.supply_schedule``. All instances are invented: blocks of 1 to
10 m3/h with four pulses of 20 to 60 min and off times of 30 to 90 min, on a supply that 60 % (or
90 %) of the day would just serve. The finish is compared with a bound that no schedule can beat, so
a ratio of 1.05 means at most 5 % above the best possible, and possibly less.
"""

from __future__ import annotations

import time

import numpy as np

from service.agronomy.pulse_plan import PulseDemand
from service.agronomy.records import Floats, WindowBatch
from service.agronomy.supply import schedule_supplies
from tests.agronomy.finish_bounds import finish_bounds

DAY_MIN = 1440
SEEDS = 12


def makespan_instance(block_count: int, load: float, seed: int) -> tuple[PulseDemand, Floats]:
    """Blocks of one supply whose pulses fill a share of the day, and the supply's flow."""
    random = np.random.default_rng([seed, block_count, int(100 * load)])
    while True:
        pulse_min = random.integers(20, 61, block_count)
        flow_l_per_h = random.uniform(1000.0, 10000.0, block_count)
        off_min = random.integers(30, 91, block_count)
        total_min = 4 * pulse_min
        supply_l_per_h = float((flow_l_per_h * total_min).sum()) / (load * DAY_MIN)
        if flow_l_per_h.max() <= supply_l_per_h:
            break
    whole = np.ones(block_count, np.int64)
    one = np.ones(block_count)
    demand = PulseDemand(
        depletion_after_rain_mm=1000.0 * one,
        crop_et_mm=0.0 * one,
        taw_mm=3000.0 * one,
        raw_mm=2000.0 * one,
        need_mm=total_min * 0.05 * one,
        urgent_need_mm=0.0 * one,
        sunrise_min=360.0 * one,
        sunset_min=1200.0 * one,
        net_rate_mm_per_min=0.05 * one,
        shortest_pulse_min=10 * whole,
        longest_pulse_min=pulse_min.astype(np.int64),
        most_pulse_count=144 * whole,
        daily_maximum_min=DAY_MIN * whole,
        off_ratio=off_min / pulse_min,
        valve_gap_min=0 * whole,
        flow_l_per_h=flow_l_per_h,
        event_limit_mm=1000.0 * one,
        supply_index=0 * whole,
        not_before_min=0 * whole,
        applied_early_net_mm=0.0 * one,
        applied_day_net_mm=0.0 * one,
        priority=5 * whole,
        start_within_min=2880 * whole,
        windows=WindowBatch(
            opens_min=np.zeros((block_count, 1), np.int64),
            closes_min=np.full((block_count, 1), DAY_MIN, np.int64),
            is_outage=np.zeros(block_count, np.bool_),
        ),
    )
    return demand, np.array([supply_l_per_h])


def orchard_day(block_count: int, load: float, seed: int = 1) -> tuple[PulseDemand, Floats]:
    """Invented blocks, 30 to a supply, 60 % of them in need; load 1 about fills the supplies."""
    random = np.random.default_rng(seed)
    per_supply = 30
    supply_index = np.arange(block_count) // per_supply
    supply_count = int(supply_index[-1]) + 1
    taw_mm = random.uniform(8.0, 40.0, block_count)
    raw_mm = 0.5 * taw_mm
    crop_et_mm = random.uniform(3.0, 6.0, block_count)
    depletion_mm = random.uniform(0.1, 1.0, block_count) * raw_mm
    need_mm = np.maximum(0.0, depletion_mm + crop_et_mm - 0.3 * raw_mm)
    need_mm[random.random(block_count) > 0.6] = 0.0
    urgent_mm = np.minimum(need_mm, np.maximum(0.0, depletion_mm + crop_et_mm - raw_mm))
    rate_mm_per_min = random.uniform(0.02, 0.08, block_count)
    flow_l_per_h = random.uniform(1000.0, 10000.0, block_count)
    volume = np.bincount(
        supply_index, need_mm / rate_mm_per_min * flow_l_per_h, minlength=supply_count
    )
    window = WindowBatch(
        opens_min=np.tile(np.array([240], np.int64), (block_count, 1)),
        closes_min=np.tile(np.array([1260], np.int64), (block_count, 1)),
        is_outage=np.zeros(block_count, np.bool_),
    )
    demand = PulseDemand(
        depletion_after_rain_mm=depletion_mm,
        crop_et_mm=crop_et_mm,
        taw_mm=taw_mm,
        raw_mm=raw_mm,
        need_mm=need_mm,
        urgent_need_mm=urgent_mm,
        sunrise_min=random.uniform(300.0, 420.0, block_count),
        sunset_min=random.uniform(1100.0, 1250.0, block_count),
        net_rate_mm_per_min=rate_mm_per_min,
        shortest_pulse_min=np.full(block_count, 10),
        longest_pulse_min=random.integers(25, 120, block_count),
        most_pulse_count=np.full(block_count, 144),
        daily_maximum_min=np.full(block_count, 720),
        off_ratio=random.choice([1.0, 2.0, 3.0], block_count),
        valve_gap_min=np.full(block_count, 1),
        flow_l_per_h=flow_l_per_h,
        event_limit_mm=np.full(block_count, 6.0),
        supply_index=supply_index,
        not_before_min=np.zeros(block_count, np.int64),
        applied_early_net_mm=np.zeros(block_count),
        applied_day_net_mm=np.zeros(block_count),
        priority=np.full(block_count, 5),
        start_within_min=np.full(block_count, 2880),
        windows=window,
    )
    return demand, np.maximum(volume / 1020.0 / load, 10000.0)


def print_makespans() -> None:
    """Finish over bound, and how many instances were planned whole."""
    print("load  blocks  finish/bound: median  worst   planned whole")
    for load in (0.6, 0.9):
        for block_count in (10, 30, 100):
            ratios = []
            whole_count = 0
            for seed in range(SEEDS):
                demand, supply_l_per_h = makespan_instance(block_count, load, seed)
                schedule = schedule_supplies(demand, supply_l_per_h)
                bounds = finish_bounds(demand, schedule, supply_l_per_h)
                ratios.append(float((bounds.finish_min / bounds.earliest_finish_min())[0]))
                whole_count += bool(np.all(schedule.planned_min == schedule.wanted_min))
            print(
                f"{load:4}  {block_count:6}  {np.median(ratios):20.3f}  {max(ratios):5.3f}"
                f"   {whole_count} of {SEEDS}"
            )


def print_costs() -> None:
    """Microseconds of processor time per block of a large run, and per call of a small one."""
    for label, load in (("ample, load 0.3", 0.3), ("tight, load 0.8", 0.8), ("short, load 2", 2.0)):
        demand, supply_l_per_h = orchard_day(30_000, load)
        schedule_supplies(demand, supply_l_per_h)
        began = time.process_time()
        schedule = schedule_supplies(demand, supply_l_per_h)
        took_s = time.process_time() - began
        short = float(np.mean(schedule.rest_share < 1.0))
        alone = float(np.mean(schedule.alone_share < 1.0))
        print(
            f"{label}: {1e6 * took_s / 30_000:.2f} us a block; "
            f"blocks on a short supply {short:.2f}, limited by themselves {alone:.2f}"
        )
    for block_count in (1, 30):
        demand, supply_l_per_h = orchard_day(block_count, 0.5)
        began = time.process_time()
        for _ in range(365):
            schedule_supplies(demand, supply_l_per_h)
        took_s = time.process_time() - began
        print(f"{block_count} blocks: {1e6 * took_s / 365:.0f} us a call")


if __name__ == "__main__":
    print_makespans()
    print_costs()
