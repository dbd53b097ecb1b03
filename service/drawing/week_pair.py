"""A coming week twice in one drawing: as it is planned, and with a change.

Down is dry, as in a season. The thin line and the outlined bars are the week as planned, the thick
line and the solid bars the week with the change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import WIDTH, axis_end, drawing, label, most_of

_LEFT, _RIGHT = 34.0, WIDTH - 6.0
_TOP, _DEEP = 24.0, 110.0
_BARS_TOP, _BARS = _TOP + _DEEP + 28.0, 44.0
_BASE = _BARS_TOP + _BARS
_LEAST_DEPTH = 0.05
_HEADROOM = 1.06


@dataclass(frozen=True, slots=True)
class WeekPair:
    """The days in order; depths in the reader's unit, NaN where nothing is known."""

    days: Sequence[str]
    missing_now: Sequence[float]
    missing_changed: Sequence[float]
    trigger: Sequence[float]
    suffers: Sequence[float]
    minutes_now: Sequence[float]
    minutes_changed: Sequence[float]


def week_pair(
    title: str, description: str, pair: WeekPair, *, missing: str, minutes: str, name: str
) -> Markup:
    """What is missing at the end of each day above, the minutes of each day below.

    ``missing`` and ``minutes`` name the two scales, with their units.
    """
    step = (_RIGHT - _LEFT) / max(len(pair.days), 1)
    dry = _HEADROOM * max(
        *(most_of(each) for each in (pair.missing_now, pair.missing_changed, pair.suffers)),
        _LEAST_DEPTH,
    )
    body = [
        label(_LEFT, _TOP - 9, missing, css="say"),
        f'<path class="axis" d="M{_LEFT:g} {_TOP:g}H{_RIGHT:g}"/>',
        label(_LEFT - 4, _TOP + 4, "0", css="say end"),
    ]
    for css, values in (
        ("trigger", pair.trigger),
        ("stress", pair.suffers),
        ("dim", pair.missing_now),
        ("level", pair.missing_changed),
    ):
        path = _path(values, step, _DEEP / dry)
        if path:
            body.append(f'<path class="{css}" d="{path}"/>')
    deepest = most_of(pair.missing_changed)
    if deepest > 0.0:
        y = _TOP + deepest * _DEEP / dry
        body.append(label(_LEFT - 4, round(y + 4, 1), f"{deepest:.2g}", css="say end"))
    body += _bars(pair, step, minutes)
    body += [
        label(round(_LEFT + (place + 0.5) * step, 1), _BASE + 16, day, css="say mid")
        for place, day in enumerate(pair.days)
    ]
    return drawing(title, description, body, width=WIDTH, height=_BASE + 22, name=name)


def _path(values: Sequence[float], step: float, scale: float) -> str:
    """A line through the middles of the days that are known."""
    points = [
        f"{_LEFT + (place + 0.5) * step:.1f} {_TOP + value * scale:.1f}"
        for place, value in enumerate(values)
        if math.isfinite(value)
    ]
    return f"M{'L'.join(points)}" if len(points) > 1 else ""


def _bars(pair: WeekPair, step: float, name: str) -> list[str]:
    most = axis_end(max(most_of(pair.minutes_now), most_of(pair.minutes_changed)))
    wide = 0.3 * step
    body = [
        label(_LEFT, _BARS_TOP - 7, name, css="t-water"),
        label(_LEFT - 4, _BARS_TOP + 8, f"{most:g}", css="say end"),
        f'<path class="grid" d="M{_LEFT:g} {_BARS_TOP:g}H{_RIGHT:g}"/>',
        f'<path class="axis" d="M{_LEFT:g} {_BASE:g}H{_RIGHT:g}"/>',
    ]
    for css, values, begins in (
        ("backed", pair.minutes_now, 0.16),
        ("run", pair.minutes_changed, 0.54),
    ):
        bars = "".join(
            f"M{_LEFT + (place + begins) * step:.1f} {_BASE:g}v{-value / most * _BARS:.1f}"
            f"h{wide:.1f}V{_BASE:g}z"
            for place, value in enumerate(values)
            if math.isfinite(value) and value > 0.0
        )
        if bars:
            body.append(f'<path class="{css}" d="{bars}"/>')
    return body
