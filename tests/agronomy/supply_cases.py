"""Invented days of blocks on a supply that is short, or tight, as plain numbers.

What an exact solver and the planner are both asked: one window for each block, off times as long as
the pulse, soils that always have room, valves that close at once.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from service.agronomy.pulse_plan import PulseDemand
from service.agronomy.records import Floats
from tests.agronomy.pulse_demands import make_demand

RATE_MM_PER_MIN = 0.05


def short_case(number: int) -> dict[str, Any]:
    """Four to six blocks that ask more than their pump gives; in two of three, hours differ."""
    random = np.random.default_rng([11, number])
    block_count = int(random.integers(4, 7))
    flow_l_per_h = 100 * random.integers(5, 61, block_count)
    supply_l_per_h = int(flow_l_per_h.max() * random.uniform(1.0, 1.6) // 100 * 100)
    open_min = int(random.integers(24, 49)) * 10
    blocks = []
    for flow in flow_l_per_h:
        opens_min, closes_min = 300, 300 + open_min
        if number % 3:
            length_min = int(random.integers(9, open_min // 10 + 1)) * 10
            opens_min += int(random.integers(0, (open_min - length_min) // 10 + 1)) * 10
            closes_min = opens_min + length_min
        blocks.append(
            {
                "flow_l_per_h": int(flow),
                "opens_min": opens_min,
                "closes_min": closes_min,
                "wanted_min": int(random.integers(60, 241)),
                "shortest_pulse_min": 10,
                "longest_pulse_min": int(random.integers(30, 91)),
            }
        )
    return {"supply_flow_l_per_h": supply_l_per_h, "blocks": blocks}


def rotation_case(number: int) -> dict[str, Any]:
    """Ten blocks with four pulses each, which a pump serves within some 60 % of the day."""
    random = np.random.default_rng([12, number])
    while True:
        pulse_min = random.integers(20, 61, 10)
        flow_l_per_h = 100 * random.integers(10, 101, 10)
        supply_l_per_h = int((4 * pulse_min * flow_l_per_h).sum() / (0.6 * 1440) // 100 * 100)
        if flow_l_per_h.max() <= supply_l_per_h:
            break
    blocks = [
        {
            "flow_l_per_h": int(flow),
            "opens_min": 0,
            "closes_min": 1440,
            "wanted_min": int(4 * pulse),
            "shortest_pulse_min": 10,
            "longest_pulse_min": int(pulse),
        }
        for flow, pulse in zip(flow_l_per_h, pulse_min, strict=True)
    ]
    return {"supply_flow_l_per_h": supply_l_per_h, "blocks": blocks}


def demand_of(case: dict[str, Any]) -> tuple[PulseDemand, Floats]:
    """A case as the planner takes it."""
    blocks = [
        {
            "depletion_after_rain_mm": 1000.0,
            "crop_et_mm": 0.0,
            "taw_mm": 3000.0,
            "raw_mm": 2000.0,
            "need_mm": RATE_MM_PER_MIN * block["wanted_min"],
            "net_rate_mm_per_min": RATE_MM_PER_MIN,
            "shortest_pulse_min": block["shortest_pulse_min"],
            "longest_pulse_min": block["longest_pulse_min"],
            "daily_maximum_min": 1440,
            "off_ratio": 1.0,
            "flow_l_per_h": float(block["flow_l_per_h"]),
            "windows": ((block["opens_min"], block["closes_min"]),),
        }
        for block in case["blocks"]
    ]
    return make_demand(*blocks), np.array([float(case["supply_flow_l_per_h"])])
