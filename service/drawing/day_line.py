"""A day's time line: which blocks run when, and how much of a supply they take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, figure, fitting, text, width_of

DAY_MIN = 24 * 60
_ROW, _LOAD = 40.0, 96.0


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the day: what runs from when to when, in minutes of the day's clock."""

    label: str
    spans: tuple[tuple[float, float], ...]
    shown: str = ""
    """Written at the end of the line: for how long in all."""


@dataclass(frozen=True, slots=True)
class Load:
    """What a supply gives over the day, and what it can give, in one unit."""

    label: str
    capacity: float
    capacity_label: str
    steps: tuple[tuple[float, float], ...]
    """Minute from which on, and how much, by time; before the first nothing runs."""


def day_line(
    title: str,
    description: str,
    rows: Sequence[Row],
    loads: Sequence[Load],
    hours: Sequence[str],
    *,
    name: str = "day",
) -> Markup:
    """Bars where something runs, a line each; below them a step curve for each supply.

    ``hours`` are the names of 0, 6, 12 and 18 o'clock.
    """
    top = 22.0
    bottom = top + _ROW * len(rows) + _LOAD * len(loads)
    # Across the bars only: over the names they would look like letters.
    ticks = "".join(f"M{_at_minute(hour * 60):.1f} 0v18" for hour in (0, 6, 12, 18, 24))
    body = [f'<defs><path id="{name}-hours" d="{ticks}"/></defs>']
    for place, hour in enumerate(hours):
        if hour:
            body.append(text(_at_minute(place * 360), 14, hour, anchor="middle", css="small"))
    y = top
    for row in rows:
        body += _row(row, y, f"{name}-hours")
        y += _ROW
    for load in loads:
        body += _load(load, y)
        y += _LOAD
    return figure(title, description, body, height=bottom + 6, name=name)


def load_steps(
    spans: Sequence[tuple[float, float, float]],
) -> tuple[tuple[float, float], ...]:
    """What runs together, as steps: spans are from, to and how much.

    >>> load_steps([(0, 60, 2.0), (30, 60, 1.0)])
    ((0, 2.0), (30, 3.0), (60, 0.0))
    """
    changes: dict[float, list[float]] = {}
    for begins, ends, amount in spans:
        changes.setdefault(begins, []).append(amount)
        changes.setdefault(ends, []).append(-amount)
    running: list[float] = []
    steps = []
    for moment in sorted(changes):
        for amount in changes[moment]:
            # Flows that end are removed, not subtracted, so that no rounding residue is left.
            if amount < 0.0 and -amount in running:
                running.remove(-amount)
            else:
                running.append(amount)
        steps.append((moment, sum(running, 0.0)))
    return tuple(steps)


def _row(row: Row, y: float, ticks_id: str) -> list[str]:
    room = WIDTH - 2 * EDGE - width_of(row.shown, size=15.0)
    body = [
        text(EDGE, y + 14, fitting(row.label, room=room), css="name"),
        f'<rect class="track" x="{EDGE}" y="{y + 19:.1f}" width="{WIDTH - 2 * EDGE}" height="14"/>',
    ]
    if row.shown:
        body.append(text(WIDTH - EDGE, y + 14, row.shown, anchor="end", css="name"))
    # The class is set here: the page's rules do not reach inside a used element.
    body.append(f'<use class="axis" href="#{ticks_id}" y="{y + 17:.1f}"/>')
    for begins, ends in row.spans:
        x = _at_minute(begins)
        wide = max(_at_minute(ends) - x, 2.0)
        body.append(
            f'<rect class="water" x="{x:.1f}" y="{y + 17:.1f}" width="{wide:.1f}" height="18"/>'
        )
    return body


def _load(load: Load, y: float) -> list[str]:
    base = y + 88.0
    scale = 52.0 / max(load.capacity, *(each for _, each in load.steps), 1e-9)
    top = base - load.capacity * scale
    points = [f"M{EDGE} {base:.1f}"]
    for minute, amount in load.steps:
        points.append(f"H{_at_minute(minute):.1f}V{base - amount * scale:.1f}")
    points.append(f"H{_at_minute(DAY_MIN):.1f}V{base:.1f}Z")
    return [
        text(EDGE, y + 16, fitting(load.label, room=WIDTH / 2), css="name"),
        f'<path class="water" d="{"".join(points)}"/>',
        f'<path class="axis" d="M{EDGE} {base:.1f}H{WIDTH - EDGE}"/>',
        f'<path class="limit" d="M{EDGE} {top:.1f}H{WIDTH - EDGE}"/>',
        text(WIDTH - EDGE, y + 16, load.capacity_label, anchor="end", css="small"),
    ]


def _at_minute(minute: float) -> float:
    return EDGE + (WIDTH - 2 * EDGE) * min(max(minute, 0.0), DAY_MIN) / DAY_MIN
