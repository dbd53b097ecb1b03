"""Bars: a ranking, weeks of blocks, shares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import (
    EDGE,
    WIDTH,
    axis_end,
    figure,
    fitting,
    most_of,
    text,
    width_of,
)

_WIDE = WIDTH - 2 * EDGE


@dataclass(frozen=True, slots=True)
class WaterBar:
    """Water of one block, or under one program, in one unit."""

    label: str
    solid: float
    hatched: float
    stroke: float
    """Where an upright stroke is drawn; NaN: none."""


def ranked(
    title: str, description: str, bars: Sequence[tuple[str, float, str]], *, name: str = "ranked"
) -> Markup:
    """Bars from the largest down: label, value, and how the value is written."""
    highest = most_of([value for _, value, _ in bars]) or 1.0
    body: list[str] = []
    y = 0.0
    for label, value, shown in bars:
        body += _labelled(label, shown, y)
        wide = max(value / highest * _WIDE, 0.0) if math.isfinite(value) else 0.0
        body.append(
            f'<rect class="track" x="{EDGE}" y="{y + 20:.1f}" width="{_WIDE}" height="10"/>'
        )
        body.append(
            f'<rect class="water" x="{EDGE}" y="{y + 20:.1f}" width="{wide:.1f}" height="10"/>'
        )
        y += 38.0
    return figure(title, description, body, height=y + 4, name=name)


def shares(
    title: str,
    description: str,
    bars: Sequence[tuple[str, float | None, str]],
    *,
    name: str = "shares",
) -> Markup:
    """Bars of shares 0 to 1 of one whole; where a share is not known there is no bar."""
    body: list[str] = []
    y = 0.0
    for label, share, shown in bars:
        body += _labelled(label, shown, y)
        body.append(
            f'<rect class="ground" x="{EDGE}" y="{y + 20.5:.1f}" width="{_WIDE}" height="10"/>'
        )
        if share is not None:
            wide = min(max(share, 0.0), 1.0) * _WIDE
            body.append(
                f'<rect class="water" x="{EDGE}" y="{y + 20:.1f}" width="{wide:.1f}" height="11"/>'
            )
        y += 40.0
    return figure(title, description, body, height=y + 4, name=name)


def week_bars(
    title: str,
    description: str,
    rows: Sequence[WaterBar],
    *,
    key: tuple[str, str, str],
    unit: str,
    name: str = "week",
) -> Markup:
    """Two amounts of water end to end against a third, row by row.

    ``key`` names the full bar, the hatched bar and the upright stroke.
    """
    highest = axis_end(
        most_of([row.solid + row.hatched for row in rows] + [row.stroke for row in rows])
    )
    scale = _WIDE / highest
    hatch = f"{name}-hatch"
    body = [
        f'<defs><pattern id="{hatch}" patternUnits="userSpaceOnUse" width="6" height="6"'
        ' patternTransform="rotate(45)"><path class="kept-stripe" d="M0 0V6"/></pattern></defs>'
    ]
    body += _week_key(key, hatch)
    top = 22.0 * _key_lines(key)
    bottom = top + 42.0 * len(rows)
    for share in (0.0, 0.5, 1.0):
        x = EDGE + share * _WIDE
        body.append(f'<path class="grid" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>')
        anchor = ("start", "middle", "end")[int(2 * share)]
        shown = f"{share * highest:g}" + (f" {unit}" if share == 1.0 else "")
        body.append(text(x, bottom + 15, shown, anchor=anchor, css="small"))
    y = top
    for row in rows:
        body.append(text(EDGE, y + 16, fitting(row.label, room=_WIDE), css="name"))
        split = EDGE + _length(row.solid, scale)
        rain = _length(row.hatched, scale)
        body.append(
            f'<rect class="water" x="{EDGE}" y="{y + 22:.1f}" width="{split - EDGE:.1f}"'
            ' height="14"/>'
        )
        if rain > 0.0:
            body.append(
                f'<rect class="kept" fill="url(#{hatch})" x="{split:.1f}" y="{y + 22.7:.1f}"'
                f' width="{rain:.1f}" height="12.6"/>'
            )
        if math.isfinite(row.stroke):
            x = EDGE + _length(row.stroke, scale)
            body.append(f'<path class="needed" d="M{x:.1f} {y + 18:.1f}v22"/>')
        y += 42.0
    return figure(title, description, body, height=bottom + 22, name=name)


def _length(value: float, scale: float) -> float:
    return max(value, 0.0) * scale if math.isfinite(value) else 0.0


def _labelled(label: str, shown: str, y: float) -> list[str]:
    room = _WIDE - width_of(shown, size=15.0)
    return [
        text(EDGE, y + 15, fitting(label, room=room), css="name"),
        text(WIDTH - EDGE, y + 15, shown, anchor="end", css="name"),
    ]


def _key_places(key: Sequence[str]) -> list[tuple[float, int]]:
    """Position of each entry of the key: its x and its line."""
    places = []
    x, line = float(EDGE), 0
    for shown in key:
        wide = 26.0 + width_of(shown, size=12.5) + 10.0
        if x > EDGE and x + wide > WIDTH:
            x, line = float(EDGE), line + 1
        places.append((x, line))
        x += wide
    return places


def _key_lines(key: Sequence[str]) -> int:
    return _key_places(key)[-1][1] + 1


def _week_key(key: tuple[str, str, str], hatch: str) -> list[str]:
    body = []
    for kind, (shown, (x, line)) in enumerate(zip(key, _key_places(key), strict=True)):
        y = 22.0 * line
        body.append(
            (
                f'<rect class="water" x="{x:.1f}" y="{y + 3:.1f}" width="20" height="11"/>',
                f'<rect class="kept" fill="url(#{hatch})" x="{x + 0.7:.1f}" y="{y + 3.7:.1f}"'
                ' width="18.6" height="9.6"/>',
                f'<path class="needed" d="M{x + 10:.1f} {y + 1:.1f}v15"/>',
            )[kind]
        )
        body.append(text(x + 26, y + 13, shown, css="small"))
    return body
