"""Places by their coordinates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import WIDTH, figure, text, width_of

MOST_LABELS = 40


@dataclass(frozen=True, slots=True)
class Dot:
    """A place on a map."""

    label: str
    latitude_deg: float
    longitude_deg: float
    level: int
    """0 to 4: how much of what is shown; 0: not known."""


def dot_map(title: str, description: str, dots: Sequence[Dot], *, name: str = "map") -> Markup:
    """Places, north up; the more, the larger and the darker the dot, and the sooner it is named."""
    if not dots:
        return figure(title, description, (), height=10, name=name)
    latitudes = [dot.latitude_deg for dot in dots]
    longitudes = [dot.longitude_deg for dot in dots]
    shrink = math.cos(math.radians(sum(latitudes) / len(latitudes)))
    wide = max((max(longitudes) - min(longitudes)) * shrink, 0.2)
    high = max(max(latitudes) - min(latitudes), 0.2)
    scale = min((WIDTH - 110) / wide, 260 / high)
    middle = (max(longitudes) + min(longitudes)) / 2
    centre = (max(latitudes) + min(latitudes)) / 2
    height = high * scale + 76
    body = [f'<rect class="ground" x="1" y="1" width="{WIDTH - 2}" height="{height - 2:.1f}"/>']
    placed = [
        (
            dot,
            WIDTH / 2 + (dot.longitude_deg - middle) * shrink * scale,
            height / 2 - (dot.latitude_deg - centre) * scale,
        )
        for dot in sorted(dots, key=lambda each: -each.level)
    ]
    for dot, x, y in placed:
        body.append(
            f'<circle class="site level{dot.level}" cx="{x:.1f}" cy="{y:.1f}"'
            f' r="{_radius(dot):.1f}"/>'
        )
    if len(dots) <= MOST_LABELS:
        body += _labels(placed)
    return figure(title, description, body, height=height, name=name)


def _radius(dot: Dot) -> float:
    return 5 + 2.5 * dot.level


def _labels(placed: Sequence[tuple[Dot, float, float]]) -> list[str]:
    """Names beside their dots; one without room is left out: the table has it."""
    taken = [
        (x - radius, x + radius, y - radius, y + radius)
        for x, y, radius in ((x, y, _radius(dot) - 2) for dot, x, y in placed)
    ]
    drawn = []
    for dot, x, y in placed:
        half, radius = width_of(dot.label, size=12.0) / 2 + 2, _radius(dot)
        middle = min(max(x, half), WIDTH - half)
        for at, base in (
            (middle, y + radius + 13),
            (middle, y - radius - 5),
            (x + radius + 2 + half, y + 4),
            (x - radius - 2 - half, y + 4),
        ):
            box = (at - half, at + half, base - 10, base + 3)
            is_inside = half <= at <= WIDTH - half
            if is_inside and not any(_overlap(box, other) for other in taken):
                taken.append(box)
                drawn.append(text(at, base, dot.label, anchor="middle", css="small"))
                break
    return drawn


_Box = tuple[float, float, float, float]


def _overlap(one: _Box, other: _Box) -> bool:
    """Boxes are left, right, top and bottom."""
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]
