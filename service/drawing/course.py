"""A number along something that is counted or measured: the row of a block, the runs of a year."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, figure, text, width_of

_LEFT, _TOP, _DEEP = 40.0, 24.0, 130.0


@dataclass(frozen=True, slots=True)
class Mark:
    """Where something changed, and its label."""

    x: float
    shown: str


def along(
    title: str, description: str, x: Sequence[float], y: Sequence[float],
    *, x_label: str, y_label: str, name: str,
) -> Markup:  # fmt: skip
    """A line through points; points that are not known are left out."""
    known = _known(x, y)
    across = _Scale.over([each for each, _ in known])
    up = _Scale.around([value for _, value in known])
    body = _axes(across, up, x_label=x_label, y_label=y_label)
    if known:
        path = "L".join(f"{across.x(each):.1f} {up.y(value):.1f}" for each, value in known)
        body.append(f'<path class="line level" d="M{path}"/>')
    return figure(title, description, body, height=_TOP + _DEEP + 42, name=name)


def over_runs(
    title: str, description: str, ratio: Sequence[float],
    *, marks: Sequence[Mark], odd_runs: Sequence[int], expected_label: str, x_label: str,
    y_label: str, ends: tuple[str, str], name: str,
) -> Markup:  # fmt: skip
    """A ratio run by run against 1, with what changed: a stroke and its size in words.

    ``odd_runs`` are single runs far from their neighbours; they get a cross instead of a dot.
    """
    known = _known(range(len(ratio)), ratio)
    across = _Scale(0.0, max(len(ratio) - 1.0, 1.0))
    up = _Scale.around([*(value for _, value in known), 1.0])
    top, bottom = _TOP, _TOP + _DEEP
    body = _axes(across, up, x_label=x_label, y_label=y_label, ends=ends)
    one = up.y(1.0)
    body.append(f'<path class="limit" d="M{_LEFT} {one:.1f}H{WIDTH - EDGE}"/>')
    body.append(text(WIDTH - EDGE, one - 5, expected_label, anchor="end", css="small"))
    odd = set(odd_runs)
    for run, value in known:
        x, y = across.x(run), up.y(value)
        body.append(
            f'<path class="odd" d="M{x - 4:.1f} {y - 4:.1f}l8 8m0 -8l-8 8"/>'
            if int(run) in odd
            else f'<circle class="water" cx="{x:.1f}" cy="{y:.1f}" r="2.5"/>'
        )
    labels = []
    for place, mark in enumerate(marks):
        x = across.x(mark.x)
        body.append(f'<path class="mark" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>')
        wide = width_of(mark.shown, size=12.0) + 4.0
        is_right = x + 3.0 + wide < WIDTH
        left, anchor = (x + 3.0, "start") if is_right else (x - 3.0 - wide, "end")
        line = bottom - 6 - 17.0 * (place % 3)
        # On a background of its own: the stroke of another change may run behind it.
        labels.append(
            f'<rect class="ahead" x="{left:.1f}" y="{line - 12:.1f}" width="{wide:.1f}"'
            ' height="16"/>'
        )
        letters_x = left + 2.0 if is_right else left + wide - 2.0
        labels.append(text(letters_x, line, mark.shown, anchor=anchor, css="small"))
    body += labels
    return figure(title, description, body, height=bottom + 42, name=name)


@dataclass(frozen=True, slots=True)
class _Scale:
    lowest: float
    highest: float

    @classmethod
    def over(cls, values: Sequence[float]) -> _Scale:
        low, high = min(values, default=0.0), max(values, default=1.0)
        return cls(low, max(high, low + 1e-9))

    @classmethod
    def around(cls, values: Sequence[float]) -> _Scale:
        """With some room above and below, and never below zero for what is not."""
        low, high = min(values, default=0.0), max(values, default=1.0)
        spread = high - low
        room = 0.1 * spread if spread > 0.0 else max(0.05 * abs(high), 0.1)
        return cls(max(0.0, low - room) if low >= 0.0 else low - room, high + room)

    def _share(self, value: float) -> float:
        return (value - self.lowest) / (self.highest - self.lowest)

    def x(self, value: float) -> float:
        return _LEFT + self._share(value) * (WIDTH - EDGE - _LEFT)

    def y(self, value: float) -> float:
        return _TOP + _DEEP - self._share(value) * _DEEP


def _known(x: Sequence[float], y: Sequence[float]) -> list[tuple[float, float]]:
    return [
        (each, value)
        for each, value in zip(x, y, strict=True)
        if math.isfinite(each) and math.isfinite(value)
    ]


def _axes(
    across: _Scale, up: _Scale,
    *, x_label: str, y_label: str, ends: tuple[str, str] | None = None,
) -> list[str]:  # fmt: skip
    base = _TOP + _DEEP
    first, last = ends or (_in_brief(across.lowest), _in_brief(across.highest))
    return [
        text(EDGE, 14, y_label, css="small"),
        f'<path class="axis" d="M{_LEFT} {_TOP}V{base}H{WIDTH - EDGE}"/>',
        text(_LEFT - 4, _TOP + 8, _in_brief(up.highest), anchor="end", css="small"),
        text(_LEFT - 4, base, _in_brief(up.lowest), anchor="end", css="small"),
        text(_LEFT, base + 16, first, css="small"),
        text(WIDTH - EDGE, base + 16, last, anchor="end", css="small"),
        text((WIDTH + _LEFT) / 2, base + 34, x_label, anchor="middle", css="small"),
    ]


def _in_brief(value: float) -> str:
    """Three significant digits, and never a power of ten."""
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.3g}"
