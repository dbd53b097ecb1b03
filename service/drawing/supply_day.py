"""The day against its supplies: which valve is open when, and what the open ones take together."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.day_line import DAY_MIN
from service.drawing.frame import drawing, label, narrow_width

WIDTH = 400
_GUTTER = 118
_LANE, _NAME_LINE, _FLOW = 22, 15, 41
_BETWEEN = 14
_LETTERS = 64
"""Of a name on a line of its own."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One block: the minutes of the day's clock from and to which it runs."""

    name: str
    spans: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class SupplyDay:
    """One supply with its blocks."""

    name: str
    notes: tuple[str, str]
    """What it gives and what is taken at most, in words."""
    capacity: float
    steps: tuple[tuple[float, float], ...]
    """Minute from which on, and how much is taken, in the unit of the capacity."""
    closed: tuple[tuple[float, float], ...]
    """Spans in which nothing may run."""
    lanes: tuple[Lane, ...]


def supply_day(
    title: str,
    description: str,
    supplies: Sequence[SupplyDay],
    *,
    hours: Sequence[str],
    closed_word: str,
) -> Markup:
    """Lanes of open valves above the flow that they take, supply by supply.

    ``hours`` are the names of 0, 6, 12, 18 and 24 o'clock.
    """
    body = [
        label(_at(place * 360), 12, hour, css=f"say {('', 'mid', 'mid', 'mid', 'end')[place]}")
        for place, hour in enumerate(hours)
    ]
    top = 20.0
    for supply in supplies:
        part, top = _supply(supply, top, closed_word)
        body += part
        top += _BETWEEN
    return drawing(
        title, description, body, width=WIDTH, height=top - _BETWEEN + 6, name="supply-day"
    )


def _supply(supply: SupplyDay, top: float, closed_word: str) -> tuple[list[str], float]:
    lanes: list[str] = []
    y = top + 4
    for lane in supply.lanes:
        # A name too long for the gutter has a line of its own: nothing is cut.
        is_long = narrow_width(lane.name, size=13.0) > _GUTTER - 4
        if is_long:
            for row in textwrap.wrap(lane.name, _LETTERS):
                y += _NAME_LINE
                lanes.append(label(0, y - 2, row, css="halo"))
        else:
            lanes.append(label(0, y + 12, lane.name))
        bars = "".join(
            f"M{_at(begins):.1f} {y + 1:g}H{max(_at(ends) - 0.8, _at(begins) + 1.2):.1f}"
            f"V{y + 14:g}H{_at(begins):.1f}z"
            for begins, ends in lane.spans
        )
        lanes.append(f'<path class="run" d="{bars}"/>')
        y += _LANE
    names = _supply_name(supply.name)
    line = y + 12 + _NAME_LINE * (len(names) - 1)
    base = line + _FLOW
    bottom = base + 9
    body = [*_closed(supply.closed, top, bottom, closed_word)]
    hours = "".join(f"M{_at(hour * 60):.1f} {top:g}V{bottom:g}" for hour in (0, 6, 12, 18, 24))
    body.append(f'<path class="grid" d="{hours}"/>')
    body += lanes
    most = max(supply.capacity, *(amount for _, amount in supply.steps), 1e-9)
    cap = base - supply.capacity / most * _FLOW
    body.append(f'<path class="flow" d="{_flow(supply.steps, base, _FLOW / most)}"/>')
    body.append(f'<path class="axis" d="M{_GUTTER} {base:g}H{WIDTH - 4}"/>')
    body.append(f'<path class="cap" d="M{_GUTTER} {cap:g}H{WIDTH - 4}"/>')
    body += [
        label(0, line + 5 - _NAME_LINE * (len(names) - 1 - row), name, css="name halo")
        for row, name in enumerate(names)
    ]
    body += [
        label(0, line + 21 + 16 * row, text, css="say") for row, text in enumerate(supply.notes)
    ]
    return body, bottom


def _supply_name(name: str) -> list[str]:
    """In the gutter, on as many lines as it takes."""
    return textwrap.wrap(name, int(_GUTTER / narrow_width("n", size=15.0))) or [name]


def _closed(
    spans: Sequence[tuple[float, float]], top: float, bottom: float, word: str
) -> list[str]:
    body = []
    for begins, ends in spans:
        left, right = _at(begins), _at(ends)
        body.append(
            f'<path class="closed" d="M{left:.1f} {top:g}H{right:.1f}V{bottom:g}H{left:.1f}z"/>'
        )
        if narrow_width(word, size=12.5) < right - left:
            body.append(label((left + right) / 2, top + 14, word, css="say mid"))
    return body


def _flow(steps: Sequence[tuple[float, float]], base: float, scale: float) -> str:
    """The steps as one outline; where nothing is taken there is none."""
    path = []
    taken = 0.0
    for minute, amount in steps:
        x = f"{_at(minute):.1f}"
        if taken <= 0.0 < amount:
            path.append(f"M{x} {base:g}")
        elif taken > 0.0:
            path.append(f"H{x}")
        if taken > 0.0 or amount > 0.0:
            path.append(f"V{base - amount * scale:.1f}")
        if taken > 0.0 >= amount:
            path.append("z")
        taken = amount
    return "".join(path)


def _at(minute: float) -> float:
    return _GUTTER + (WIDTH - 4 - _GUTTER) * min(max(minute, 0.0), DAY_MIN) / DAY_MIN
