"""Invented demands for the tests of pulses and supplies, and an independent check of a schedule."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import pairwise
from typing import Any

import numpy as np
from hypothesis import strategies as st

from service.agronomy.pulse_plan import ANY_START_MIN, PulseDemand, PulseSchedule
from service.agronomy.records import Floats, WindowBatch
from tests.agronomy.minute_simulation import depletion_after_minute, minute_et_mm

WHOLE_FIELDS = {
    "shortest_pulse_min",
    "longest_pulse_min",
    "daily_maximum_min",
    "most_pulse_count",
    "valve_gap_min",
    "supply_index",
    "not_before_min",
    "start_within_min",
    "priority",
}
BLOCK: dict[str, Any] = {
    "depletion_after_rain_mm": 10.0,
    "crop_et_mm": 5.0,
    "taw_mm": 30.0,
    "raw_mm": 15.0,
    "need_mm": 3.0,
    "urgent_need_mm": 0.0,
    "sunrise_min": 360.0,
    "sunset_min": 1200.0,
    "net_rate_mm_per_min": 0.05,
    "shortest_pulse_min": 10,
    "longest_pulse_min": 60,
    "daily_maximum_min": 600,
    "most_pulse_count": 144,
    "off_ratio": 2.0,
    "valve_gap_min": 0,
    "flow_l_per_h": 1000.0,
    "event_limit_mm": 8.0,
    "supply_index": 0,
    "not_before_min": 0,
    "start_within_min": ANY_START_MIN,
    "applied_early_net_mm": 0.0,
    "applied_day_net_mm": 0.0,
    "priority": 5,
    "windows": ((240, 1260),),
    "is_outage": False,
}


def make_demand(*blocks: dict[str, Any]) -> PulseDemand:
    """Demand of blocks that differ from an ordinary one in the values given."""
    rows = [BLOCK | block for block in blocks]
    slots = max((len(row["windows"]) for row in rows), default=1)
    opens_min = np.zeros((len(rows), slots), np.int64)
    closes_min = np.zeros((len(rows), slots), np.int64)
    for index, row in enumerate(rows):
        for slot, (opens, closes) in enumerate(row["windows"]):
            opens_min[index, slot], closes_min[index, slot] = opens, closes
    columns: dict[str, Any] = {
        field.name: np.array(
            [row[field.name] for row in rows],
            np.int64 if field.name in WHOLE_FIELDS else np.float64,
        )
        for field in fields(PulseDemand)
        if field.name != "windows"
    }
    windows = WindowBatch(
        opens_min=opens_min,
        closes_min=closes_min,
        is_outage=np.array([row["is_outage"] for row in rows], np.bool_),
    )
    return PulseDemand(**columns, windows=windows)


def take_blocks(demand: PulseDemand, order: Any) -> PulseDemand:
    """The same blocks in another order, or some of them."""
    columns = {
        field.name: getattr(demand, field.name)[order]
        for field in fields(demand)
        if field.name != "windows"
    }
    windows = WindowBatch(
        opens_min=demand.windows.opens_min[order],
        closes_min=demand.windows.closes_min[order],
        is_outage=demand.windows.is_outage[order],
    )
    return replace(demand, **columns, windows=windows)


def pulses_of(schedule: PulseSchedule, block: int) -> list[tuple[int, int]]:
    """Start and length of each pulse of one block."""
    pulses = schedule.pulses
    places = range(int(pulses.offset[block]), int(pulses.offset[block + 1]))
    return [(int(pulses.start_min[k]), int(pulses.duration_min[k])) for k in places]


@st.composite
def block_days(draw: st.DrawFn, *, supply_count: int = 1) -> dict[str, Any]:
    """One invented block: soils from sand to clay, urgent or not, one to three windows."""
    taw_mm = draw(st.floats(3.0, 60.0))
    raw_mm = taw_mm * draw(st.floats(0.3, 0.7))
    crop_et_mm = draw(st.floats(0.0, 7.0))
    # A day that starts stressed now and then.
    depletion_mm = draw(st.floats(0.0, 1.0)) * (raw_mm if draw(st.booleans()) else taw_mm)
    need_mm = max(0.0, depletion_mm + crop_et_mm - draw(st.floats(0.0, 0.6)) * raw_mm)
    edges = sorted(draw(st.sets(st.integers(0, 144), min_size=2, max_size=6)))
    windows = tuple(
        (10 * opens, 10 * closes) for opens, closes in zip(edges[0::2], edges[1::2], strict=False)
    )
    shortest_min = draw(st.integers(10, 20))
    return {
        "taw_mm": taw_mm,
        "raw_mm": raw_mm,
        "crop_et_mm": crop_et_mm,
        "depletion_after_rain_mm": depletion_mm,
        "need_mm": need_mm,
        "urgent_need_mm": min(need_mm, max(0.0, depletion_mm + crop_et_mm - raw_mm)),
        "sunrise_min": draw(st.floats(240.0, 480.0)),
        "sunset_min": draw(st.floats(1000.0, 1300.0)),
        "net_rate_mm_per_min": draw(st.floats(0.01, 0.1)),
        "shortest_pulse_min": shortest_min,
        "longest_pulse_min": draw(st.integers(shortest_min, 240)),
        "daily_maximum_min": draw(st.sampled_from([60, 300, 720, 1440])),
        "most_pulse_count": 144,
        "off_ratio": draw(st.sampled_from([0.5, 1.0, 1.5, 2.0, 3.0])),
        "valve_gap_min": draw(st.integers(0, 3)),
        "flow_l_per_h": draw(st.floats(500.0, 9000.0)),
        "supply_index": draw(st.integers(0, supply_count - 1)),
        "windows": windows,
        "is_outage": draw(st.booleans()),
    }


def rooms_mm(demand: PulseDemand, block: int, pulses: list[tuple[int, int]]) -> list[float]:
    """Depletion just before each pulse, minute by minute.

    Water of the day that was given before the planner came enters in step with the ET until the
    first minute that is open to it; here it does so at the end of each minute.
    """
    depletion_mm = float(demand.depletion_after_rain_mm[block] - demand.applied_early_net_mm[block])
    taw_mm, raw_mm = float(demand.taw_mm[block]), float(demand.raw_mm[block])
    et_mm = minute_et_mm(
        float(demand.crop_et_mm[block]),
        float(demand.sunrise_min[block]),
        float(demand.sunset_min[block]),
    )
    applied_mm = float(demand.applied_day_net_mm[block])
    begin = int(demand.not_before_min[block]) if applied_mm > 0.0 else 0
    passed_mm = sum(et_mm[:begin])
    for minute_mm in et_mm[:begin]:
        depletion_mm = depletion_after_minute(depletion_mm, minute_mm, taw_mm, raw_mm)
        depletion_mm -= applied_mm * minute_mm / passed_mm if passed_mm > 0.0 else 0.0
    depletion_mm -= 0.0 if passed_mm > 0.0 else applied_mm
    rooms = []
    minute = begin
    for start, length in pulses:
        for minute_mm in et_mm[minute:start]:
            depletion_mm = depletion_after_minute(depletion_mm, minute_mm, taw_mm, raw_mm)
        minute = start
        rooms.append(depletion_mm)
        depletion_mm -= length * float(demand.net_rate_mm_per_min[block])
    return rooms


def assert_rules_hold(
    demand: PulseDemand, schedule: PulseSchedule, supply_flow_l_per_h: Floats
) -> None:
    """Every rule of a day of pulses, checked minute by minute and without the planner's code."""
    horizon_min = int(max(1440, demand.windows.closes_min.max(initial=0))) + 10
    flow = np.zeros((supply_flow_l_per_h.size, horizon_min))
    for block in range(demand.need_mm.size):
        pulses = pulses_of(schedule, block)
        rate = float(demand.net_rate_mm_per_min[block])
        lengths = [length for _, length in pulses]
        total = sum(lengths)
        assert total == schedule.planned_min[block] <= schedule.wanted_min[block]
        assert total <= demand.daily_maximum_min[block]
        assert total * rate <= demand.need_mm[block] + 1e-9
        assert lengths == sorted(lengths, reverse=True)
        if pulses:
            assert lengths[0] - lengths[-1] <= 1
            assert lengths[0] <= demand.longest_pulse_min[block]
            assert lengths[-1] >= demand.shortest_pulse_min[block]
            assert pulses[0][0] >= demand.not_before_min[block]

        used_ratio = float(schedule.used_off_ratio[block])
        assert used_ratio in (demand.off_ratio[block], min(1.0, demand.off_ratio[block]))
        for (start, length), (following, _) in pairwise(pulses):
            assert following - start - length >= math.ceil(used_ratio * length - 1e-9)

        opens, closes = demand.windows.opens_min[block], demand.windows.closes_min[block]
        applied_day = float(demand.applied_day_net_mm[block])
        sunrise = float(demand.sunrise_min[block])
        early = sum(length for start, length in pulses if start < sunrise) * rate
        assert np.isclose(early, schedule.early_net_mm[block], atol=1e-9)
        assert np.isclose(total * rate - early, schedule.day_net_mm[block], atol=1e-9)
        tolerance_mm = 2e-3 if applied_day > 0.0 else 1e-7  # see rooms_mm
        for (start, length), room in zip(pulses, rooms_mm(demand, block, pulses), strict=True):
            latest = np.minimum(closes - length, opens + demand.start_within_min[block])
            assert np.any((opens <= start) & (start <= latest))
            assert room >= length * rate - tolerance_mm
            end = start + length + int(demand.valve_gap_min[block])
            flow[demand.supply_index[block], start:end] += demand.flow_l_per_h[block]
    assert np.all(flow <= supply_flow_l_per_h[:, None] + 1e-5)
