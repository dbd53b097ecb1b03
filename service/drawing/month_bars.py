"""Water by month: irrigation and rain one behind the other, against what the crop used."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import WIDTH, drawing, label, most_of, narrow_width

_ROW = 30.0
_TALL = 18.0
_LETTERS = 14.0


@dataclass(frozen=True, slots=True)
class MonthBar:
    """One month, or the part of it that is known; depths in one unit, NaN where not known."""

    name: str
    irrigation: float
    rain: float
    crop_use: float
    shown: str
    """Its irrigation in words, at the end of the row."""


def month_bars(title: str, description: str, months: Sequence[MonthBar]) -> Markup:
    """A row a month: solid irrigation, hollow rain behind it, an upright stroke at the crop's use.

    Where solid and hollow together end right of the stroke, more came than the crop used.
    """
    left = max((narrow_width(month.name, size=_LETTERS) for month in months), default=0.0) + 10.0
    gutter = max((narrow_width(month.shown, size=_LETTERS) for month in months), default=0.0) + 14.0
    most = most_of(
        [
            value
            for month in months
            for value in (_known(month.irrigation) + _known(month.rain), month.crop_use)
        ]
    )
    scale = (WIDTH - left - gutter) / (most or 1.0)
    body: list[str] = []
    for row, month in enumerate(months):
        y = 6.0 + row * _ROW
        middle = left + _known(month.irrigation) * scale
        end = middle + _known(month.rain) * scale
        body.append(label(0, y + 14, month.name, css="name"))
        if middle > left:
            body.append(
                f'<path class="run" d="M{left:.1f} {y:g}H{middle:.1f}v{_TALL:g}H{left:.1f}z"/>'
            )
        if end > middle:
            body.append(
                f'<path class="rain rainfill" d="M{middle:.1f} {y + 0.8:g}H{end:.1f}'
                f'v{_TALL - 1.6:g}H{middle:.1f}z"/>'
            )
        if math.isfinite(month.crop_use):
            x = left + month.crop_use * scale
            body.append(f'<path class="tick-mark" d="M{x:.1f} {y - 4:g}v{_TALL + 8:g}"/>')
        body.append(label(WIDTH, y + 14, month.shown, css="loud end"))
    height = 2.0 + len(months) * _ROW
    body.append(f'<path class="axis" d="M{left:.1f} 0V{height:g}"/>')
    return drawing(title, description, body, width=WIDTH, height=height, name="months")


def _known(value: float) -> float:
    return value if math.isfinite(value) else 0.0
