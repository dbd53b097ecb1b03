"""The board of a farm: for each block how much of its readily available water is missing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import label

WIDTH = 320
SCALE_END = 1.3
"""Share of the readily available water at the right end; what is beyond is drawn up to there."""
HATCH = "hatch"


@dataclass(frozen=True, slots=True)
class BoardBar:
    """One block; all are shares of its readily available water, NaN: not known."""

    missing: float
    """By the evening, if nothing ran."""
    put_back: float
    """What the plan puts back of it."""
    trigger: float
    """From where on it gets water."""


def board_axis(full: str, water_from: str, suffers: str, *, trigger: float) -> Markup:
    """The words over the bars, and the hatch that all bars share: draw it once, above them."""
    at_trigger, at_end = _at(trigger), _at(1.0)
    body = (
        f'<defs><pattern id="{HATCH}" patternUnits="userSpaceOnUse" width="7" height="7"'
        ' patternTransform="rotate(28)"><path class="back" d="M3 0v7"/></pattern></defs>',
        label(0, 13, full, css="say"),
        label(at_trigger, 13, water_from, css="say mid"),
        label(at_end + 4, 13, suffers, css="say t-stress"),
    )
    return Markup(
        f'<svg class="chart" viewBox="0 0 {WIDTH} 17" aria-hidden="true">{"".join(body)}</svg>'
    )


def board_bar(bar: BoardBar) -> Markup:
    """One bar: ink is missing after the plan, hatch is what the plan puts back."""
    body = [f'<path class="track" d="M0 4h{WIDTH}v10H0z"/>']
    if math.isfinite(bar.missing):
        put_back = bar.put_back if math.isfinite(bar.put_back) else 0.0
        end, after = _at(bar.missing), _at(bar.missing - put_back)
        body.append(f'<path class="was" d="M0 4h{after}v10H0z"/>')
        if end - after > 1:
            shape = f'd="M{after} 4.75H{end}V13.25H{after}z"'
            body.append(f'<path class="backed" {shape}/><path fill="url(#{HATCH})" {shape}/>')
    if math.isfinite(bar.trigger):
        body.append(f'<path class="tick-mark" d="M{_at(bar.trigger)} 0v18"/>')
    body.append(f'<path class="tick-stress" d="M{_at(1.0)} 0v18"/>')
    return Markup(
        f'<svg class="chart" viewBox="0 0 {WIDTH} 18" aria-hidden="true">{"".join(body)}</svg>'
    )


def _at(share: float) -> int:
    return round(min(max(share / SCALE_END, 0.0), 1.0) * WIDTH)
