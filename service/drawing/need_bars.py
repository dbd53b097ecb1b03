"""Counties in order of need: a bar each, an upright stroke for the normal, hatch for stand-ins."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import drawing, label, narrow_width
from service.drawing.need_scale import CLASSES, HATCH, HATCH_PATTERN, need_class

WIDTH = 360
_NAME_AT = 20
_HOURS_ROOM = 64
_VALUE_ROOM = 44
_BAR = 20
_LINE = 17


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedBar:
    """One county; numbers in the reader's unit, NaN: not known."""

    rank: str
    name: str
    need: float
    shown: str
    """The need as it is written."""
    normal: float
    """Where the upright stroke is drawn."""
    hours: str
    rests_on: str
    """The line below the bar."""
    is_stand_in: bool


def need_bars(
    title: str,
    description: str,
    bars: Sequence[NeedBar],
    *,
    class_width: float,
    marks: Sequence[str],
    name: str = "rank",
) -> Markup:
    """The bars in the order given, on a scale of five classes with ``marks`` at its six limits."""
    scale = (WIDTH - _VALUE_ROOM) / (CLASSES * class_width)
    rows: list[str] = []
    y = 22.0
    for bar in bars:
        drawn, y = _row(bar, y, scale, class_width)
        rows += drawn
    axis = []
    for limit, mark in enumerate(marks):
        x = round(limit * class_width * scale, 1)
        axis.append(label(x, 12, mark, css="say mid" if limit else "say"))
        axis.append(f'<path class="grid" d="M{x:g} 18V{y - 6:g}"/>')
    return drawing(
        title, description, [HATCH_PATTERN, *axis, *rows], width=WIDTH, height=y, name=name
    )


def _row(bar: NeedBar, y: float, scale: float, width: float) -> tuple[list[str], float]:
    """One county from ``y`` down, and where the next one begins."""
    room = WIDTH - _NAME_AT - _HOURS_ROOM
    lines = textwrap.wrap(bar.name, int(room / narrow_width("n", size=14.0))) or [""]
    body = [
        label(0, y + 14, bar.rank, css="say"),
        *(
            label(_NAME_AT, y + 14 + _LINE * place, line, css="name")
            for place, line in enumerate(lines)
        ),
        label(WIDTH, y + 14, bar.hours, css="say end"),
    ]
    y += 4 + _LINE * len(lines)
    end = 0.0
    if math.isfinite(bar.need):
        end = round(bar.need * scale, 1)
        shape = f'd="M0 {y:g}H{end:g}v{_BAR}H0z"'
        body.append(f'<path class="need-{need_class(bar.need, width)}" {shape}/>')
        if bar.is_stand_in:
            body.append(f'<path fill="url(#{HATCH})" {shape}/>')
    beside = end
    if math.isfinite(bar.normal):
        at = round(bar.normal * scale, 1)
        body.append(f'<path class="normal" d="M{at:g} {y - 3:g}v{_BAR + 6}"/>')
        if end - 2.0 <= at < end + 34.0:
            beside = at
    body.append(label(round(beside + 6, 1), y + 15, bar.shown, css="loud halo"))
    body.append(label(0, y + _BAR + 14, bar.rests_on, css="say halo"))
    return body, y + _BAR + 24
