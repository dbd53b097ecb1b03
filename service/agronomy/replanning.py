"""A plan for a day that is under way: what has run is kept, only the rest is planned again.

In go the pulses in force and the minute of the day; out come the pulses that are committed, the
water they bring, and the first minute at which each block may get a new pulse. Pulses of a block
that cannot be planned again are kept whole; its neighbours are planned around them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from service.agronomy.pulse_plan import PulseDemand, PulseSchedule
from service.agronomy.records import Floats, Ints, PulseBatch, WindowBatch
from service.pulses import Pulse

NOTICE_MIN = 20  # [CHOICE] min, pulses that start sooner stay: controllers poll every 15 minutes


@dataclass(frozen=True, slots=True)
class CommittedWater:
    """Water of the day that a new plan cannot take back, arrays (blocks,)."""

    pulses: PulseBatch
    early_min: Floats
    """Minutes of the committed pulses that start before sunrise, or of reported runs."""
    day_min: Floats
    not_before_min: Ints
    """First minute at which a new pulse may start."""


def commit_pulses(
    pulses: Sequence[Sequence[Pulse]],
    *,
    minute: Ints,
    sunrise_min: Floats,
    supply_index: Ints,
    off_ratio: Floats,
) -> CommittedWater:
    """The part of the pulses in force that stays, as of a minute of their day.

    Shapes: one sequence of pulses per block; the others (blocks,).
    minute: minutes elapsed since local midnight; negative before the day begins.
    Returns: CommittedWater. Where a day has not begun nothing is committed. New pulses of a supply
    wait until the committed ones of all its blocks have ended, so that its flow is never exceeded.
    Equation: a pulse that starts before minute + 20 stays [CHOICE].
    >>> committed = commit_pulses(
    ...     [[Pulse(300, 40), Pulse(600, 40)]], minute=np.array([500]),
    ...     sunrise_min=np.array([350.0]), supply_index=np.array([0]), off_ratio=np.array([1.0]))
    >>> committed.pulses.start_min.tolist(), committed.not_before_min.tolist()
    ([300], [520])
    """
    block_count = len(pulses)
    kept: list[list[Pulse]] = []
    ready = np.zeros(block_count, dtype=np.int64)
    ends = np.zeros(int(supply_index.max(initial=-1)) + 1, dtype=np.int64)
    early_min, day_min = np.zeros(block_count), np.zeros(block_count)
    for block, (own, now) in enumerate(zip(pulses, minute.tolist(), strict=True)):
        stays = [pulse for pulse in own if now >= 0 and pulse.start_min < now + NOTICE_MIN]
        for start, length in stays:
            if start < sunrise_min[block]:
                early_min[block] += length
            else:
                day_min[block] += length
            off_min = int(np.ceil(off_ratio[block] * length))
            ready[block] = max(ready[block], start + length + off_min)
            supply = supply_index[block]
            ends[supply] = max(ends[supply], start + length)
        kept.append(stays)
    under_way = np.where(minute >= 0, minute + NOTICE_MIN, 0)
    still_runs = np.where(minute >= 0, ends[supply_index], 0)
    return CommittedWater(
        pulses=PulseBatch.of_rows(kept),
        early_min=early_min,
        day_min=day_min,
        not_before_min=np.maximum(np.maximum(under_way, still_runs), ready),
    )


def windows_beside(
    windows: WindowBatch,
    kept: Sequence[Sequence[Pulse]],
    *,
    supply_index: Ints,
    flow_l_per_h: Floats,
    supply_flow_l_per_h: Floats,
    valve_gap_min: Ints,
) -> WindowBatch:
    """The windows left around the kept pulses of blocks that are not planned again.

    Shapes: windows, kept and the rest (blocks,); supply_flow_l_per_h (supplies,).
    kept: the pulses of each block that keeps its own; empty for the others.
    Returns: WindowBatch. While a kept pulse runs, the other blocks of its supply are closed, unless
    the flow is enough for all of them beside it [CHOICE]; a valve's closing time counts on both
    sides.
    Equation: gap = [start - longest closing time of the others, end + own closing time).
    >>> beside = windows_beside(
    ...     WindowBatch(opens_min=np.array([[240], [240]]), closes_min=np.array([[600], [600]]),
    ...                 is_outage=np.array([False, False])),
    ...     [[Pulse(300, 60)], []], supply_index=np.array([0, 0]), valve_gap_min=np.array([1, 1]),
    ...     flow_l_per_h=np.array([6.0, 6.0]), supply_flow_l_per_h=np.array([10.0]))
    >>> beside.opens_min.tolist(), beside.closes_min.tolist()
    ([[240, 0], [240, 361]], [[600, 0], [299, 600]])
    """
    gaps: list[list[tuple[int, int]]] = [[] for _ in kept]
    keeps = np.array([bool(own) for own in kept], dtype=np.bool_)
    for supply in np.unique(supply_index[keeps]).tolist():
        at_supply = supply_index == supply
        others = np.flatnonzero(at_supply & ~keeps)
        if flow_l_per_h[at_supply].sum() <= supply_flow_l_per_h[supply]:
            continue
        closing_min = int(valve_gap_min[others].max(initial=0))
        gap = [
            (start - closing_min, start + length + int(valve_gap_min[block]))
            for block in np.flatnonzero(at_supply & keeps).tolist()
            for start, length in kept[block]
        ]
        for block in others.tolist():
            gaps[block] = gap
    spans = [
        _less(
            [
                (opens, closes)
                for opens, closes in zip(own_opens, own_closes, strict=True)
                if opens < closes
            ],
            gap,
        )
        for own_opens, own_closes, gap in zip(
            windows.opens_min.tolist(), windows.closes_min.tolist(), gaps, strict=True
        )
    ]
    shape = (len(spans), max((len(own) for own in spans), default=0) or 1)
    opens_min, closes_min = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.int64)
    for row, own in enumerate(spans):
        for place, (opens, closes) in enumerate(own):
            opens_min[row, place] = opens
            closes_min[row, place] = closes
    return replace(windows, opens_min=opens_min, closes_min=closes_min)


def _less(spans: list[tuple[int, int]], gaps: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans with the gaps cut out, in order."""
    for begins, ends in gaps:
        pieces = [
            piece
            for opens, closes in spans
            for piece in ((opens, min(closes, begins)), (max(opens, ends), closes))
        ]
        spans = [(opens, closes) for opens, closes in pieces if opens < closes]
    return spans


def remaining_demand(demand: PulseDemand, committed: CommittedWater) -> PulseDemand:
    """The demand less the water that is committed already.

    Shapes: (blocks,).
    Returns: PulseDemand whose pulses start after the committed ones.
    Source: the room of the pulse step counts the committed water as applied.
    """
    early_mm = committed.early_min * demand.net_rate_mm_per_min
    day_mm = committed.day_min * demand.net_rate_mm_per_min
    run_min = (committed.early_min + committed.day_min).astype(np.int64)
    left_count = np.maximum(0, demand.most_pulse_count - committed.pulses.count())
    return replace(
        demand,
        most_pulse_count=left_count,
        need_mm=np.maximum(0.0, demand.need_mm - early_mm - day_mm),
        urgent_need_mm=np.maximum(0.0, demand.urgent_need_mm - early_mm - day_mm),
        daily_maximum_min=np.minimum(
            np.maximum(0, demand.daily_maximum_min - run_min),
            left_count * demand.longest_pulse_min,
        ),
        not_before_min=np.maximum(demand.not_before_min, committed.not_before_min),
        applied_early_net_mm=early_mm,
        applied_day_net_mm=day_mm,
    )


def whole_day(
    schedule: PulseSchedule, committed: CommittedWater, net_rate_mm_per_min: Floats
) -> PulseSchedule:
    """The schedule of the whole day: the committed part, then the newly planned part.

    Shapes: (blocks,).
    Returns: PulseSchedule whose minutes and depths hold both.
    Source: addition.
    """
    run_min = (committed.early_min + committed.day_min).astype(np.int64)
    early_mm = committed.early_min * net_rate_mm_per_min
    day_mm = committed.day_min * net_rate_mm_per_min
    return replace(
        schedule,
        pulses=_joined(committed.pulses, schedule.pulses),
        planned_min=schedule.planned_min + run_min,
        wanted_min=schedule.wanted_min + run_min,
        planned_net_mm=schedule.planned_net_mm + early_mm + day_mm,
        early_net_mm=schedule.early_net_mm + early_mm,
        day_net_mm=schedule.day_net_mm + day_mm,
    )


def _joined(first: PulseBatch, then: PulseBatch) -> PulseBatch:
    """Pulses of both plans; in every block those of ``first`` come before those of ``then``."""
    blocks = np.arange(first.offset.size - 1)
    owner = np.concatenate([np.repeat(blocks, first.count()), np.repeat(blocks, then.count())])
    order = np.argsort(owner, kind="stable")
    return PulseBatch(
        offset=first.offset + then.offset,
        start_min=np.concatenate([first.start_min, then.start_min])[order],
        duration_min=np.concatenate([first.duration_min, then.duration_min])[order],
    )
