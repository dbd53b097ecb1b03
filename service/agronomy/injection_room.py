"""Whether changed pulses of one block still fit the day's plan.

In: the day's plan for all blocks, and different pulses for one of them. Out: the reason why they do
not fit, if they do not. Checked are the windows, the room in the soil at every start, the flow of
the supply with everything else that runs on it, the daily maximum and the longest pulse.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from service.agronomy.block_batch import BlockBatch
from service.agronomy.daily_plan import DailyPlan
from service.agronomy.records import Floats, PulseBatch, WindowBatch
from service.agronomy.watering_rules import shortfall_mm
from service.pulses import Pulse
from service.unit_sizes import MINUTES_PER_HOUR

MINUTES_LISTED = 2 * 1440  # a pulse never reaches beyond the second day


@dataclass(frozen=True, slots=True)
class PlannedDay:
    """What a changed block must fit into; arrays (blocks,) unless noted."""

    blocks: BlockBatch
    plan: DailyPlan
    windows: WindowBatch
    supply_flow_l_per_h: Floats
    """(supplies,)"""
    sunrise_min: Floats
    sunset_min: Floats


def other_flow_l_per_h(day: PlannedDay, block: int) -> Floats:
    """Flow taken in every minute by the other blocks on a block's supply.

    Shapes: result (minutes,), from local midnight on.
    Returns: flow [L/h]; a valve that is still closing counts as open.
    Equation: addition.
    """
    supply = day.blocks.system.supply_index[block]
    pulses = day.plan.schedule.pulses
    gaps = np.ceil(day.blocks.system.valve_gap_s / 60.0).astype(np.int64)
    flow = np.zeros(MINUTES_LISTED)
    for other in np.flatnonzero(day.blocks.system.supply_index == supply).tolist():
        if other == block:
            continue
        own_l_per_h = day.blocks.system.flow_l_per_h[other]
        for pulse in pulses.of_block(other):
            flow[pulse.start_min : pulse.end_min + int(gaps[other])] += own_l_per_h
    return flow


def pulse_fault(
    day: PlannedDay, block: int, pulses: Sequence[Pulse], other_flow: Floats
) -> str | None:
    """Why these pulses do not fit a block's day; None where they do.

    Shapes: pulses in order of time; other_flow (minutes,) of
    :func:`other_flow_l_per_h`.
    Returns: a reason in words.
    Equation: each pulse inside one window; net applied up to and with it at most
    D plus the ET until its start, the rule of the pulse step; flows at most the supply's.
    """
    from service.agronomy.pulse_kernel import FLOW_TOLERANCE_L_PER_H, ROOM_TOLERANCE_MM

    system, plan = day.blocks.system, day.plan
    total = sum(duration for _, duration in pulses)
    if total > system.daily_maximum_min[block]:
        return f"{total} min pass the daily maximum of {system.daily_maximum_min[block]:.0f} min"
    rate = float(plan.net_rate_mm_per_min[block])
    depletion_mm = float(plan.need.depletion_after_rain_mm[block])
    share = 0.0
    allowed = float(day.supply_flow_l_per_h[system.supply_index[block]])
    own = float(system.flow_l_per_h[block])
    gap = int(np.ceil(system.valve_gap_s[block] / 60.0))
    opens, closes = day.windows.opens_min[block], day.windows.closes_min[block]
    given_mm = 0.0
    free_from = 0
    for start, duration in pulses:
        end = start + duration
        if start < free_from:
            return f"the pulse from minute {start} begins before the one before it has ended"
        free_from = end + gap
        if not ((opens <= start) & (end <= closes)).any():
            return f"a pulse of {duration} min from minute {start} leaves the watering window"
        depletion_mm, share = _depletion_at(day, block, depletion_mm, share, float(start))
        given_mm += duration * rate
        depletion_mm -= duration * rate
        if depletion_mm < -ROOM_TOLERANCE_MM:
            return (
                f"the soil has no room for a pulse of {duration} min at minute {start}:"
                f" {given_mm:.2f} mm given, room for {max(0.0, given_mm + depletion_mm):.2f} mm"
            )
        used = float(other_flow[start : end + gap].max(initial=0.0))
        if used + own > allowed + FLOW_TOLERANCE_L_PER_H:
            return (
                f"the supply gives {allowed:.0f} L/h, and others take {used:.0f} L/h of it while"
                f" a pulse from minute {start} would take {own:.0f}"
            )
    return None


def with_pulses(day: PlannedDay, changed: Mapping[int, Sequence[Pulse]]) -> PulseBatch:
    """The day's pulses with those of some blocks replaced.

    Shapes: changed, pulses by row of the block.
    Returns: pulses of all blocks.
    """
    pulses = day.plan.schedule.pulses
    return PulseBatch.of_rows(
        changed[block] if block in changed else pulses.of_block(block)
        for block in range(pulses.offset.size - 1)
    )


def _depletion_at(
    day: PlannedDay, block: int, depletion_mm: float, from_share: float, minute: float
) -> tuple[float, float]:
    """Depletion of a block at a minute without new water, and the share of the ET by then."""
    from service.agronomy.stress_kernel import depletion_after_et, et_share

    sunrise, sunset = float(day.sunrise_min[block]), float(day.sunset_min[block])
    share = max(from_share, et_share(minute, sunrise, sunset))
    et_mm = float(day.plan.zone_et_mm[block]) * (share - from_share)
    taw_mm, raw_mm = float(day.plan.taw_mm[block]), float(day.plan.raw_mm[block])
    return depletion_after_et(depletion_mm, et_mm, taw_mm, raw_mm), share


def changed_plan(day: PlannedDay, changed: Mapping[int, Sequence[Pulse]]) -> DailyPlan:
    """The day's plan with other pulses for some blocks, and the sums that go with them.

    Shapes: changed, pulses by row of the block.
    Returns: DailyPlan; what was wanted and why less was planned stay as they were.
    Equation: sums; the event peak as in the pulse step.
    """
    plan, schedule = day.plan, day.plan.schedule
    planned_min = schedule.planned_min.copy()
    early_mm, day_mm = schedule.early_net_mm.copy(), schedule.day_net_mm.copy()
    peak_mm = schedule.event_peak_mm.copy()
    for block, pulses in changed.items():
        rate = float(plan.net_rate_mm_per_min[block])
        early_min = sum(length for start, length in pulses if start < day.sunrise_min[block])
        planned_min[block] = sum(length for _, length in pulses)
        early_mm[block] = rate * early_min
        day_mm[block] = rate * (planned_min[block] - early_min)
        peak_mm[block] = _event_peak_mm(day, block, pulses)
    net_mm = early_mm + day_mm
    known = np.isfinite(schedule.planned_net_mm)
    net_mm = np.where(known, net_mm, schedule.planned_net_mm)
    return replace(
        plan,
        schedule=replace(
            schedule,
            pulses=with_pulses(day, changed),
            planned_min=planned_min,
            planned_net_mm=net_mm,
            early_net_mm=early_mm,
            day_net_mm=day_mm,
            event_peak_mm=peak_mm,
            passes_event_limit=peak_mm > plan.limits.event_limit_mm,
        ),
        gross_mm=planned_min * day.blocks.system.application_rate_mm_per_h / MINUTES_PER_HOUR,
        deferred_mm=np.maximum(0.0, plan.need.need_mm - net_mm),
        shortfall_mm=shortfall_mm(plan.need, net_mm, plan.raw_mm),
    )


def _event_peak_mm(day: PlannedDay, block: int, pulses: Sequence[Pulse]) -> float:
    """Largest depth that the pulses hold in the soil above what ET has taken since."""
    rate = float(day.plan.net_rate_mm_per_min[block])
    depletion_mm = float(day.plan.need.depletion_after_rain_mm[block])
    share = held_mm = peak_mm = 0.0
    for start, length in pulses:
        at_start_mm, share = _depletion_at(day, block, depletion_mm, share, float(start))
        held_mm = max(0.0, held_mm - (at_start_mm - depletion_mm))
        depletion_mm, share = _depletion_at(
            day, block, at_start_mm - length * rate, share, float(start + length)
        )
        held_mm = max(0.0, held_mm + at_start_mm - depletion_mm)
        peak_mm = max(peak_mm, held_mm)
    return peak_mm
