"""When each block may run on a civil day: its windows, its supply's, less times without water.

In go wall-clock windows as people write them; out come minutes elapsed since local midnight, which
remain valid on days of a clock change.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import numpy as np

from service.agronomy.civil_day import day_length_min, elapsed_min, elapsed_wall_min
from service.agronomy.hand_visits import padded_visits
from service.agronomy.records import (
    Ints,
    NoWaterPeriod,
    WallWindow,
    WeeklyNoWater,
    WindowBatch,
)
from service.agronomy.weekly_hours import closed_hours

Span = tuple[int, int]
Row = tuple[tuple[Span, ...], bool, tuple[Span, ...]]
"""Open spans of a block, whether something is cut out of them, and the spans without water."""


def watering_windows(
    block_windows: Sequence[tuple[WallWindow, ...]],
    supply_windows: Sequence[tuple[WallWindow, ...]],
    no_water: Sequence[tuple[NoWaterPeriod, ...]],
    *,
    zones: Sequence[str],
    day: date,
    visits: Sequence[tuple[WallWindow, ...]] = (),
    weekly: Sequence[tuple[WeeklyNoWater, ...]] = (),
) -> WindowBatch:
    """Open times of every block on one civil day.

    Shapes: one entry per block in each argument; equal windows may be one object, which saves
    time with many blocks.
    visits: when somebody is there to open valves by hand; none at all where empty.
    weekly: hours of every week in which its supply gives no water; none at all where empty.
    Returns: WindowBatch in elapsed minutes; a window that a clock change removes is left out.
    Source: common practice, no source.
    """
    cache: dict[tuple[object, ...], Row] = {}
    rows: list[Row] = []
    for own, shared, closed, hours, zone in zip(
        block_windows, supply_windows, no_water, weekly or ((),) * len(zones), zones, strict=True
    ):
        key = (own, shared, closed, hours, zone)
        if key not in cache:
            cache[key] = _open_spans(own, shared, _dry_spans(closed, hours, zone, day), zone, day)
        rows.append(cache[key])
    width = max((len(spans) for spans, _, _ in rows), default=0) or 1
    opens_min = np.zeros((len(rows), width), dtype=np.int64)
    closes_min = np.zeros((len(rows), width), dtype=np.int64)
    for row, (spans, _, _) in enumerate(rows):
        for place, (opens, closes) in enumerate(spans):
            opens_min[row, place] = opens
            closes_min[row, place] = closes
    is_outage = np.array([outage for _, outage, _ in rows], dtype=np.bool_)
    dry_spans = tuple(dry for _, _, dry in rows)
    comes_and_leaves = padded_visits(
        [_elapsed(own, day, zone) for own, zone in zip(visits, zones, strict=bool(visits))]
    )
    visit_opens_min, visit_closes_min = comes_and_leaves or (None, None)
    return WindowBatch(
        opens_min=opens_min,
        closes_min=closes_min,
        is_outage=is_outage,
        visit_opens_min=visit_opens_min,
        visit_closes_min=visit_closes_min,
        dry_spans=dry_spans if any(dry_spans) else (),
    )


def take_windows(windows: WindowBatch, rows: Ints) -> WindowBatch:
    """The windows of some blocks, in the order of ``rows``.

    Shapes: windows (blocks, windows); rows (some blocks,), row numbers.
    Returns: WindowBatch of those blocks.
    """
    return WindowBatch(
        opens_min=windows.opens_min[rows],
        closes_min=windows.closes_min[rows],
        is_outage=windows.is_outage[rows],
        held_min=None if windows.held_min is None else windows.held_min[rows],
        visit_opens_min=(
            None if windows.visit_opens_min is None else windows.visit_opens_min[rows]
        ),
        visit_closes_min=(
            None if windows.visit_closes_min is None else windows.visit_closes_min[rows]
        ),
        dry_spans=tuple(windows.dry_spans[row] for row in rows.tolist())
        if windows.dry_spans
        else (),
    )


def _open_spans(
    own: tuple[WallWindow, ...],
    shared: tuple[WallWindow, ...],
    dry: tuple[Span, ...],
    zone: str,
    day: date,
) -> Row:
    whole = _common(_elapsed(own, day, zone), _elapsed(shared, day, zone))
    spans = whole
    for gap in dry:
        spans = [part for span in spans for part in _without(span, gap)]
    return tuple(spans), spans != whole, dry


def _dry_spans(
    closed: tuple[NoWaterPeriod, ...], hours: tuple[WeeklyNoWater, ...], zone: str, day: date
) -> tuple[Span, ...]:
    """The parts of a day that have no water, in elapsed minutes."""
    parts = (_part_of_day(period, day, zone) for period in closed)
    of_week = ((each.start_min, each.end_min) for each in closed_hours(hours, day, zone))
    return (*(part for part in parts if part is not None), *of_week)


def _elapsed(windows: tuple[WallWindow, ...], day: date, zone: str) -> list[Span]:
    """Windows in elapsed minutes, in order, those that touch joined."""
    joined: list[Span] = []
    for window in sorted(windows, key=lambda each: each.opens_wall_min):
        opens = elapsed_wall_min(window.opens_wall_min, day, zone)
        closes = elapsed_wall_min(window.closes_wall_min, day, zone)
        if joined and opens <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(closes, joined[-1][1]))
        elif closes > opens:
            joined.append((opens, closes))
    return joined


def _common(first: list[Span], second: list[Span]) -> list[Span]:
    common = [
        (max(a[0], b[0]), min(a[1], b[1]))
        for a in first
        for b in second
        if max(a[0], b[0]) < min(a[1], b[1])
    ]
    return sorted(common)


def _part_of_day(period: NoWaterPeriod, day: date, zone: str) -> Span | None:
    """The part of a no-water period that falls on this day, in elapsed minutes."""
    next_day = datetime.combine(day + timedelta(days=1), time())
    if period.starts_local >= next_day or period.ends_local <= datetime.combine(day, time()):
        return None
    starts = (
        0
        if period.starts_local.date() < day
        else elapsed_min(day, period.starts_local.time(), zone)
    )
    ends = (
        day_length_min(day, zone)
        if period.ends_local >= next_day
        else elapsed_min(day, period.ends_local.time(), zone)
    )
    return (starts, ends) if starts < ends else None


def _without(span: Span, gap: Span) -> list[Span]:
    """What remains of a span after a gap is cut out of it."""
    left = [(span[0], min(span[1], gap[0])), (max(span[0], gap[1]), span[1])]
    return [part for part in left if part[0] < part[1]]
