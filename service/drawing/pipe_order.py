"""What water passes, from the supply down to the flush ends: a pipe with a mark for every part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, figure, text

_STEP = 46.0
_LINE = 14.0
_PIPE_X = 40.0
_TEXT_X = 74.0
_LETTERS = 38
"""Letters of a line of small text beside the pipe."""
_NAME_LETTERS = 29
_NAME_LINE = 17.0


@dataclass(frozen=True, slots=True)
class Stop:
    """One part along the pipe."""

    kind: str
    """``part``, ``gauge``, ``injector``, ``filter`` or ``by-code``."""
    label: str
    remark: str = ""
    is_in_zone: bool = False


def pipe_order(
    title: str, description: str, stops: Sequence[Stop], zone_label: str, *, name: str = "order"
) -> Markup:
    """Stops from top to bottom, numbered; those of a zone stand beside a dashed line.

    ``zone_label`` is written where the zone begins, such as "in each of 3 zones".
    """
    body: list[str] = []
    y = 26.0
    first_y = last_y = y
    zone_y = None
    for number, stop in enumerate(stops, start=1):
        if stop.is_in_zone and zone_y is None:
            y += 10.0
            zone_y = y - 20.0
            body.append(text(_TEXT_X, y, zone_label, css="small"))
            y += 24.0
        names, lines = _lines(f"{number}. {stop.label}", _NAME_LETTERS), _lines(stop.remark)
        body += _mark(stop, number, y)
        for place, line in enumerate(names):
            body.append(text(_TEXT_X, y + 5 + _NAME_LINE * place, line, css="name"))
        below = _NAME_LINE * (len(names) - 1)
        for place, line in enumerate(lines):
            body.append(text(_TEXT_X, y + 21 + below + _LINE * place, line, css="small"))
        last_y = y
        y += max(_STEP, 28.0 + below + _LINE * len(lines))
    pipe = f'<path class="needed" d="M{_PIPE_X} {first_y:.1f}V{last_y:.1f}"/>'
    body.insert(0, pipe)
    if zone_y is not None:
        body.append(f'<path class="divide" d="M{EDGE} {zone_y:.1f}H{WIDTH - EDGE}"/>')
        body.append(f'<path class="divide" d="M{EDGE + 6} {zone_y:.1f}V{y - 8:.1f}"/>')
    return figure(title, description, body, height=y, name=name)


def _mark(stop: Stop, number: int, y: float) -> list[str]:
    """The sign of a part: a bead, a box, a dial on a stub or a bucket beside the pipe."""
    x = _PIPE_X
    if stop.kind == "gauge":
        return [
            f'<path class="axis" d="M{x} {y:.1f}H{x + 12}"/>',
            f'<circle class="ground" cx="{x + 19}" cy="{y:.1f}" r="8"/>',
            f'<path class="axis" d="M{x + 19} {y:.1f}l4 -5"/>',
        ]
    if stop.kind == "injector":
        return [
            f'<path class="water" d="M{x} {y - 4:.1f}l-10 4l10 4z"/>',
            f'<path class="axis" d="M{x - 10} {y:.1f}h-12v6"/>',
            f'<path class="ground" d="M{x - 29} {y + 6:.1f}h14l-2 13h-10z"/>',
        ]
    if stop.kind == "filter":
        rows = "".join(f"M{x - 9} {y + dy:.1f}h18" for dy in (-4.0, 0.0, 4.0))
        return [
            f'<rect class="ground" x="{x - 12}" y="{y - 10:.1f}" width="24" height="20" rx="5"/>',
            f'<path class="kept-stripe" d="{rows}"/>',
        ]
    if stop.kind == "by-code":
        return [
            f'<rect class="ground" x="{x - 11}" y="{y - 11:.1f}" width="22" height="22"/>',
            f'<rect class="mark" x="{x - 11}" y="{y - 11:.1f}" width="22" height="22"/>',
            text(x, y + 5, "?", anchor="middle", css="name"),
        ]
    css = "site level0" if number == 1 else "site"
    return [f'<circle class="{css}" cx="{x}" cy="{y:.1f}" r="7"/>']


def _lines(remark: str, letters: int = _LETTERS) -> list[str]:
    """The words of a text on lines of a length that fits beside the pipe.

    >>> _lines("Before every part with a narrow passage, and so on")
    ['Before every part with a narrow', 'passage, and so on']
    """
    lines: list[str] = []
    for word in remark.split():
        if lines and len(lines[-1]) + 1 + len(word) <= letters:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
