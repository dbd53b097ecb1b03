"""When the pulses of a valve that somebody opens by hand may start.

In go the hours in which a block may run and the visits of the day; out come windows in which its
pulses lie, and how long after the opening of each a pulse may still start. Blocks whose valves open
by themselves keep their windows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from service.agronomy.pulse_plan import ANY_START_MIN
from service.agronomy.records import Floats, Ints, WindowBatch

Span = tuple[int, int]


def visit_windows(windows: WindowBatch) -> tuple[WindowBatch, Ints]:
    """The windows of pulses that start during a visit, and how long after opening they may.

    Shapes: windows and visits (blocks, windows); the minutes (blocks,).
    Returns: WindowBatch whose windows may overlap, and minutes: the shortest visit of the block's
    day, which longer ones are divided by. A pulse may last beyond its visit, to the end of the
    hours [CHOICE]; a part of a visit that is left shorter than the shortest one is not used.
    Equation: one window from each start of a part of a visit to the end of the hours around it.

    Hours 04:00 to 21:00, somebody is there from 07:00 to 07:30 and from 19:00 to 20:00:

    >>> opens, closes = np.array([[240]]), np.array([[1260]])
    >>> day = WindowBatch(opens, closes, np.array([False]),
    ...                   visit_opens_min=np.array([[420, 1140]]),
    ...                   visit_closes_min=np.array([[450, 1200]]))
    >>> windows, within = visit_windows(day)
    >>> windows.opens_min.tolist(), windows.closes_min.tolist(), within.tolist()
    ([[420, 1140, 1170]], [[1260, 1260, 1260]], [30])
    """
    within_min = np.full(windows.opens_min.shape[0], ANY_START_MIN)
    if windows.visit_opens_min is None:
        return windows, within_min
    starts: dict[int, list[Span]] = {}
    for block, spans, visits in _visited(windows):
        within_min[block] = min(leaves - comes for comes, leaves in visits)
        starts[block] = _starts(spans, visits, int(within_min[block]))
    width = windows.opens_min.shape[1]
    more = max(0, max(map(len, starts.values()), default=0) - width)
    opens_min = np.pad(windows.opens_min, ((0, 0), (0, more)))
    closes_min = np.pad(windows.closes_min, ((0, 0), (0, more)))
    for block, own in starts.items():
        opens_min[block], closes_min[block] = 0, 0
        for place, (opens, closes) in enumerate(own):
            opens_min[block, place], closes_min[block, place] = opens, closes
    return replace(windows, opens_min=opens_min, closes_min=closes_min), within_min


def visit_capacity_min(
    windows: WindowBatch, longest_pulse_min: Ints, most_pulse_count: Floats
) -> Floats:
    """Minutes that a block opened by hand could run on a day; an estimate, as it ignores the soil.

    Shapes: windows and visits (blocks, windows); the rest and the result (blocks,).
    Returns: minutes; NaN for blocks whose valves open by themselves.
    Equation: the longest pulses that begin with a visit, as many as the day may have, and no more
    than the hours from the first visit on.
    """
    capacity_min = np.full(longest_pulse_min.shape, np.nan)
    for block, spans, visits in _visited(windows):
        starts = [
            start
            for comes, leaves in visits
            for start in _starts(spans, [(comes, leaves)], leaves - comes)[:1]
        ]
        lasting = [min(int(longest_pulse_min[block]), closes - start) for start, closes in starts]
        count = int(min(most_pulse_count[block], len(lasting)))
        first_min = min((start for start, _ in starts), default=ANY_START_MIN)
        left_min = sum(max(0, closes - max(opens, first_min)) for opens, closes in spans)
        capacity_min[block] = min(sum(sorted(lasting)[len(lasting) - count :]), left_min)
    return capacity_min


def is_by_hand(windows: WindowBatch) -> NDArray[np.bool_]:
    """Which valves are opened by hand.

    Shapes: visits (blocks, visits); result (blocks,).
    Returns: whether the block has a visit that day.
    Source: arrangement only.
    """
    if windows.visit_opens_min is None or windows.visit_closes_min is None:
        return np.zeros(windows.opens_min.shape[0], dtype=np.bool_)
    is_visit = windows.visit_closes_min > windows.visit_opens_min
    return np.asarray(is_visit.any(axis=1), dtype=np.bool_)


def padded_visits(visits: Sequence[Sequence[Span]]) -> tuple[Ints, Ints] | None:
    """Visits of each block as two arrays; None where no block has any.

    Shapes: one sequence of spans per block; results (blocks, visits), unused slots 0 and 0.
    Returns: minutes at which somebody comes and leaves.
    Source: arrangement only.
    """
    if not any(visits):
        return None
    comes_min = np.zeros((len(visits), max(map(len, visits))), np.int64)
    leaves_min = np.zeros_like(comes_min)
    for row, spans in enumerate(visits):
        for place, (comes, leaves) in enumerate(spans):
            comes_min[row, place], leaves_min[row, place] = comes, leaves
    return comes_min, leaves_min


def _visited(windows: WindowBatch) -> Iterator[tuple[int, list[Span], list[Span]]]:
    """Row, hours and visits of each block with a valve that is opened by hand."""
    if windows.visit_opens_min is None or windows.visit_closes_min is None:
        return
    for block in np.flatnonzero(is_by_hand(windows)).tolist():
        spans = _spans(windows.opens_min[block], windows.closes_min[block])
        yield block, spans, _spans(windows.visit_opens_min[block], windows.visit_closes_min[block])


def _spans(opens_min: Ints, closes_min: Ints) -> list[Span]:
    """The used slots of a row."""
    return [
        (opens, closes)
        for opens, closes in zip(opens_min.tolist(), closes_min.tolist(), strict=True)
        if opens < closes
    ]


def _starts(spans: Sequence[Span], visits: Sequence[Span], within_min: int) -> list[Span]:
    """From each start of a part of a visit to the end of the hours around it, in order."""
    found = []
    for opens, closes in spans:
        for comes, leaves in visits:
            first, last = max(opens, comes), min(closes, leaves)
            # The last part ends with the visit, so that it may overlap the one before it.
            starts = [*range(first, last - within_min, within_min), last - within_min]
            found += [(start, closes) for start in starts if start >= first]
    return sorted(found)
