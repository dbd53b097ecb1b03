"""How far off forecasts were by how far ahead they looked, against knowing the season alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import WIDTH, drawing, label, most_of, narrow_width

_ROW = 26.0
_TALL = 14.0
_LETTERS = 14.0


@dataclass(frozen=True, slots=True)
class LeadBar:
    """Forecasts so many days ahead; NaN where not known."""

    name: str
    miss: float
    """By how much they were off, chances counted."""
    season_miss: float
    """By how much the season's other days would have been off."""
    shown: str
    """The miss in words, at the end of the row."""


def lead_bars(title: str, description: str, leads: Sequence[LeadBar], *, name: str) -> Markup:
    """A row a lead: a bar as long as the miss, an upright stroke at that of the season.

    A bar that ends left of its stroke is a forecast that is worth something.
    """
    left = max((narrow_width(lead.name, size=_LETTERS) for lead in leads), default=0.0) + 10.0
    gutter = max((narrow_width(lead.shown, size=_LETTERS) for lead in leads), default=0.0) + 14.0
    most = most_of([value for lead in leads for value in (lead.miss, lead.season_miss)])
    scale = (WIDTH - left - gutter) / (most or 1.0)
    body: list[str] = []
    for row, lead in enumerate(leads):
        y = 4.0 + row * _ROW
        body.append(label(0, y + 12, lead.name, css="name"))
        if math.isfinite(lead.miss):
            x = left + lead.miss * scale
            body.append(f'<path class="past" d="M{left:.1f} {y:g}H{x:.1f}v{_TALL:g}H{left:.1f}z"/>')
        if math.isfinite(lead.season_miss):
            x = left + lead.season_miss * scale
            body.append(f'<path class="tick-mark" d="M{x:.1f} {y - 3:g}v{_TALL + 6:g}"/>')
        body.append(label(WIDTH, y + 12, lead.shown, css="loud end"))
    height = 2.0 + len(leads) * _ROW
    body.append(f'<path class="axis" d="M{left:.1f} 0V{height:g}"/>')
    return drawing(title, description, body, width=WIDTH, height=height, name=name)
