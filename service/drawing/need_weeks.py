"""The weeks of one county as small bars; many of them share one scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import drawing, label
from service.drawing.need_scale import HATCH

WIDTH, HEIGHT = 190, 96
_BASE, _TOP = 78.0, 22.0
_LEAST_SEEN = 0.75
"""Height from which a bar is seen; below, a zero is written."""


@dataclass(frozen=True, slots=True)
class NeedWeek:
    """One week; numbers in the reader's unit, NaN: not known."""

    need: float
    normal: float
    is_stand_in: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekScale:
    """What the small drawings share."""

    top: float
    """The value of the upper line of the grid."""
    mark: str
    """How it is written, with its unit."""
    ends: tuple[str, str]
    """The first and the last week."""


def need_weeks(
    title: str,
    description: str,
    weeks: Sequence[NeedWeek],
    *,
    scale: WeekScale,
    last: tuple[int, str],
    name: str,
) -> Markup:
    """Weeks from left to right; ``last``: class of need of the last one, and how it is written.

    The hatch is :data:`service.drawing.need_scale.HATCH_PATTERN`, drawn elsewhere on the page.
    """
    pitch = (WIDTH + 4.0) / max(len(weeks), 1)
    bar = pitch - 4.0
    rise = (_BASE - _TOP) / scale.top
    middle = (_BASE + _TOP) / 2
    body = [f'<path class="grid" d="M0 {middle:g}H{WIDTH}M0 {_TOP:g}H{WIDTH}"/>']
    past, hatched, normals, signs = "", "", "", []
    for place, week in enumerate(weeks):
        x = round(place * pitch, 1)
        if math.isfinite(week.normal):
            normals += f"M{x - 1:g} {_BASE - week.normal * rise:.1f}h{bar + 2:.1f}"
        if not math.isfinite(week.need) or week.need * rise < _LEAST_SEEN:
            if place + 1 < len(weeks):  # the last one is written in any case
                sign = "0" if math.isfinite(week.need) else "?"
                signs.append(label(round(x + bar / 2, 1), _BASE - 4, sign, css="say mid"))
            continue
        shape = f"M{x:g} {_BASE:g}V{_BASE - week.need * rise:.1f}h{bar:.1f}V{_BASE:g}z"
        if place + 1 < len(weeks):
            past += shape
        else:
            body.append(f'<path class="need-{last[0]}" d="{shape}"/>')
        if week.is_stand_in:
            hatched += shape
    body += [f'<path class="past" d="{past}"/>'] if past else []
    body += [f'<path fill="url(#{HATCH})" d="{hatched}"/>'] if hatched else []
    body += [f'<path class="normal" d="{normals}"/>'] if normals else []
    height = weeks[-1].need * rise if weeks and math.isfinite(weeks[-1].need) else 0.0
    body += [
        f'<path class="axis" d="M0 {_BASE:g}H{WIDTH}"/>',
        *signs,
        label(0, HEIGHT - 4, scale.ends[0], css="say"),
        label(WIDTH, HEIGHT - 4, scale.ends[1], css="say end"),
        label(WIDTH, round(_BASE - height - 5, 1), last[1], css="loud halo end"),
        label(0, _TOP - 3, scale.mark, css="say halo"),
    ]
    return drawing(title, description, body, width=WIDTH, height=HEIGHT, name=name)
