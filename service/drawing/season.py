"""Lines over days: a block's season, and one number's course."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, axis_end, end_labels, figure, most_of, text

_LEFT = 34.0


@dataclass(frozen=True, slots=True)
class Line:
    """One line over days; NaN where nothing is known."""

    css: str
    """``level`` is drawn thick, ``trigger`` dotted, ``stress`` dashed."""
    values: tuple[float, ...]


def season_lines(
    title: str,
    description: str,
    day_labels: Sequence[str],
    lines: Sequence[Line],
    *,
    rain: Sequence[float],
    irrigation: Sequence[float],
    first_forecast: int,
    axis_label: str,
    bars_label: str,
    forecast_label: str,
) -> Markup:
    """Depletion against its limits, downwards as soil dries, and the water that came in below it.

    Rain hangs from above, irrigation rises from the ground line: bars of a day are too thin over a
    season for a hatch to be seen.
    """
    count = max(len(day_labels), 1)
    top, deep, half = 26.0, 150.0, 36.0
    step = (WIDTH - _LEFT - 8) / count
    highest = axis_end(most_of([value for line in lines for value in line.values]))
    sky = top + deep + 28.0
    base = sky + 2.0 * half
    body = [text(_LEFT, 14, axis_label, css="small")]
    if first_forecast < count:
        x = _LEFT + first_forecast * step
        body.append(
            f'<rect class="ahead" x="{x:.1f}" y="{top}" width="{WIDTH - EDGE - x:.1f}"'
            f' height="{base - top:.1f}"/><path class="divide" d="M{x:.1f} {top}V{base:.1f}"/>'
        )
        body.append(text(WIDTH - EDGE, 14, forecast_label, anchor="end", css="small"))
    for share in (0.0, 0.5, 1.0):
        y = top + share * deep
        body.append(f'<path class="grid" d="M{_LEFT} {y:.1f}H{WIDTH - EDGE}"/>')
        body.append(text(_LEFT - 4, y + 4, f"{share * highest:g}", anchor="end", css="small"))
    for line in lines:
        path = _path(line.values, step, top, deep / highest, deep)
        if path:
            body.append(f'<path class="line {line.css}" d="{path}"/>')
    most = axis_end(most_of([*rain, *irrigation]))
    body.append(text(_LEFT, sky - 8, bars_label, css="small"))
    body.append(f'<path class="axis" d="M{_LEFT} {sky:.1f}H{WIDTH - EDGE}"/>')
    body.append(f'<path class="axis" d="M{_LEFT} {base:.1f}H{WIDTH - EDGE}"/>')
    body.append(text(_LEFT - 4, sky + half + 4, f"{most:g}", anchor="end", css="small"))
    for css, values, shift in (("rain", rain, 0.08), ("water", irrigation, 0.5)):
        for place, value in enumerate(values):
            if math.isfinite(value) and value > 0.0:
                tall = min(value / most, 1.0) * (half - 2)
                y = sky if css == "rain" else base - tall
                body.append(
                    f'<rect class="{css}" x="{_LEFT + (place + shift) * step:.1f}" y="{y:.1f}"'
                    f' width="{max(0.42 * step, 1.2):.1f}" height="{tall:.1f}"/>'
                )
    body += end_labels(base + 16, day_labels, left=_LEFT)
    return figure(title, description, body, height=base + 24, name="season")


def curve(
    title: str, description: str, day_labels: Sequence[str], values: Sequence[float], *, name: str
) -> Markup:
    """One line over days, from zero."""
    top, deep = 10.0, 80.0
    step = (WIDTH - _LEFT - 8) / max(len(values), 1)
    highest = axis_end(most_of(values))
    body = [
        f'<path class="axis" d="M{_LEFT} {top}V{top + deep}H{WIDTH - EDGE}"/>',
        text(_LEFT - 4, top + 8, f"{highest:g}", anchor="end", css="small"),
        text(_LEFT - 4, top + deep, "0", anchor="end", css="small"),
    ]
    path = _path(values, step, top + deep, -deep / highest, deep)
    if path:
        body.append(f'<path class="line level" d="{path}"/>')
    body += end_labels(top + deep + 16, day_labels, left=_LEFT)
    return figure(title, description, body, height=top + deep + 24, name=name)


def _path(values: Sequence[float], step: float, start: float, scale: float, most: float) -> str:
    """A line through the days; where a day is not known it is broken."""
    parts = []
    is_begun = False
    for place, value in enumerate(values):
        if not math.isfinite(value):
            is_begun = False
            continue
        x = _LEFT + (place + 0.5) * step
        y = start + min(max(value * scale, -most), most)
        # A day between two gaps still shows: a line of no length has round ends.
        parts.append(f"{'L' if is_begun else 'M'}{x:.1f} {y:.1f}{'' if is_begun else 'h.1'}")
        is_begun = True
    return "".join(parts)
