"""Small pictures as SVG text, for files and pages alike: a line along something, bars of shares.

Every picture carries a title and a description in words, so that it can be read out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from service.operations.assess_capacity import SupplyCapacity
from service.operations.check_flow import FlowReport
from service.operations.solve_lateral import PipeReport

WIDTH, HEIGHT = 640, 280
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 16, 36, 44
_FONT = 'font-family="sans-serif" font-size="12"'


@dataclass(frozen=True, slots=True)
class Axis:
    """What is drawn along one side."""

    label: str
    lowest: float
    highest: float


def row_figure(report: PipeReport) -> str:
    """Flow along the row of a block that gets least."""
    flow = report.row.emitter_flow_l_per_h.tolist()
    first = report.layout.first_segment_m
    begin = report.emitter_spacing_m if first is None else first
    return line_figure(
        f"{report.name}: emitter flow along the row",
        [begin + report.emitter_spacing_m * place for place in range(len(flow))],
        flow,
        x_label="distance from the row's inlet, m",
        y_label="flow, L/h",
    )


def flow_figure(report: FlowReport) -> str:
    """Metered over expected volume of a block's runs."""
    return line_figure(
        f"{report.block_id}: metered over expected volume",
        [float(place) for place in range(report.days.size)],
        report.check.ratio.tolist(),
        x_label="run",
        y_label="ratio",
    )


def capacity_figure(supply: SupplyCapacity) -> str:
    """Share of summers kept, as it is and with each change."""
    return bar_figure(
        f"{supply.supply_id}: summers in which every block keeps up",
        [change.name for change in supply.changes],
        [change.kept_share for change in supply.changes],
    )


def line_figure(
    title: str, x: Sequence[float], y: Sequence[float], *, x_label: str, y_label: str
) -> str:
    """A line through points; points that are not known are left out."""
    known = [
        (each, value)
        for each, value in zip(x, y, strict=True)
        if math.isfinite(each) and math.isfinite(value)
    ]
    xs, ys = [each for each, _ in known] or [0.0], [value for _, value in known] or [0.0]
    spread = max(ys) - min(ys)
    room = 0.1 * spread if spread > 0.0 else max(0.05 * abs(max(ys)), 1.0)
    across = Axis(x_label, min(xs), max(*xs, min(xs) + 1e-9))
    up = Axis(
        y_label, max(0.0, min(ys) - room) if min(ys) >= 0.0 else min(ys) - room, max(ys) + room
    )
    points = " ".join(f"{_x(each, across):.1f},{_y(value, up):.1f}" for each, value in known)
    body = [f'<polyline fill="none" stroke="#14507a" stroke-width="2" points="{points}"/>']
    told = f"{y_label} from {min(ys):.3g} to {max(ys):.3g}"
    return _figure(title, told, [*_axes(across, up), *body])


def bar_figure(title: str, labels: Sequence[str], shares: Sequence[float | None]) -> str:
    """A bar for each share, 0 to 1; a share that is not known has its label alone."""
    step = (WIDTH - _LEFT - _RIGHT) / max(len(labels), 1)
    up = Axis("", 0.0, 100.0)
    body = []
    for place, (label, share) in enumerate(zip(labels, shares, strict=True)):
        left = _LEFT + step * (place + 0.15)
        middle = left + 0.35 * step
        if share is not None:
            top = _y(100.0 * share, up)
            body.append(
                f'<rect x="{left:.1f}" y="{top:.1f}" width="{0.7 * step:.1f}"'
                f' height="{HEIGHT - _BOTTOM - top:.1f}" fill="#14507a"/>'
            )
        shown = "not possible" if share is None else f"{100.0 * share:.0f} %"
        height = HEIGHT - _BOTTOM - 6 if share is None else max(_y(100.0 * share, up) - 4, _TOP)
        body.append(_text(middle, height, shown, anchor="middle"))
        body.append(_text(middle, HEIGHT - _BOTTOM + 18, label, anchor="middle"))
    told = "; ".join(
        f"{label}: {'not possible' if share is None else f'{100.0 * share:.0f} %'}"
        for label, share in zip(labels, shares, strict=True)
    )
    base = HEIGHT - _BOTTOM
    body.append(f'<path d="M{_LEFT} {base}H{WIDTH - _RIGHT}" stroke="#333" fill="none"/>')
    return _figure(title, told, body)


def text_profile(values: Sequence[float], *, columns: int = 60, rows: int = 8) -> list[str]:
    """Values along a line as rows of a terminal, the highest on top; dry places stay empty."""
    count = len(values)
    if count == 0:
        return []
    columns = min(columns, count)
    picked = [values[place * (count - 1) // max(columns - 1, 1)] for place in range(columns)]
    low, high = min(picked), max(picked)
    if high - low < 1e-9 * max(abs(high), 1.0):
        low = 0.0
    step = (high - low) / (rows - 1) or 1.0
    lines = []
    for row in range(rows - 1, -1, -1):
        level = low + row * step
        marks = "".join("*" if round((value - low) / step) == row else " " for value in picked)
        lines.append(f"{level:8.3f} |{marks}".rstrip())
    return lines


def _figure(title: str, told: str, body: Sequence[str]) -> str:
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img"'
            ' aria-labelledby="title told">',
            f'<title id="title">{escape(title)}</title>',
            f'<desc id="told">{escape(told)}</desc>',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            _text(_LEFT, 20, title, weight="bold"),
            *body,
            "</svg>",
        ]
    )


def _axes(across: Axis, up: Axis) -> list[str]:
    base = HEIGHT - _BOTTOM
    return [
        f'<path d="M{_LEFT} {_TOP}V{base}H{WIDTH - _RIGHT}" stroke="#333" fill="none"/>',
        _text(_LEFT - 6, _TOP + 4, f"{up.highest:.3g}", anchor="end"),
        _text(_LEFT - 6, base, f"{up.lowest:.3g}", anchor="end"),
        _text(_LEFT, base + 16, f"{across.lowest:.3g}"),
        _text(WIDTH - _RIGHT, base + 16, f"{across.highest:.3g}", anchor="end"),
        _text((WIDTH + _LEFT) / 2, HEIGHT - 8, across.label, anchor="middle"),
        _text(_LEFT + 6, _TOP + 4, up.label),
    ]


def _text(x: float, y: float, text: str, *, anchor: str = "start", weight: str = "normal") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-weight="{weight}" {_FONT}'
        f' fill="#222">{escape(text)}</text>'
    )


def _x(value: float, axis: Axis) -> float:
    share = (value - axis.lowest) / (axis.highest - axis.lowest)
    return _LEFT + share * (WIDTH - _LEFT - _RIGHT)


def _y(value: float, axis: Axis) -> float:
    share = (value - axis.lowest) / (axis.highest - axis.lowest)
    return HEIGHT - _BOTTOM - share * (HEIGHT - _TOP - _BOTTOM)
