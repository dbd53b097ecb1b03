"""The water of a season, added up day by day, against what may be used in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import EDGE, WIDTH, drawing, label, narrow_width

_TOP, _DEEP = 22.0, 150.0
_LETTERS = 13.0


@dataclass(frozen=True, slots=True)
class SeasonCourse:
    """Sums of a season in one unit, by day of the season."""

    day_count: int
    used: Sequence[tuple[int, float]]
    """Day of the season, counting from 0, and what was used by its end."""
    ahead: Sequence[tuple[int, float]]
    """The same for the days ahead, if they go as usual; empty: not known."""
    limit: float | None
    """What may be used; None: nothing is stated."""


def season_use(
    title: str,
    description: str,
    course: SeasonCourse,
    *,
    months: Sequence[tuple[int, str]],
    limit_name: str,
    top_name: str,
) -> Markup:
    """What was used as a line, what is to come as dots on the ground of days ahead.

    ``months`` are the first day of each month, counting from 0, and its name; ``top_name`` is the
    value at the top of the scale in words, ``limit_name`` that of the limit.
    """
    left = narrow_width(top_name, size=_LETTERS) + 8.0
    values = [value for _, value in (*course.used, *course.ahead)]
    most = max([*values, course.limit or 0.0, 1e-9])
    scale_x = (WIDTH - left - EDGE) / max(course.day_count - 1, 1)
    bottom = _TOP + _DEEP

    def x(day: float) -> float:
        return left + day * scale_x

    def y(value: float) -> float:
        return bottom - value / most * _DEEP

    body = []
    last = course.used[-1][0] if course.used else 0
    if last < course.day_count - 1:
        body.append(
            f'<path class="future" d="M{x(last):.1f} {_TOP:g}H{WIDTH - EDGE:g}V{bottom:g}'
            f'H{x(last):.1f}z"/>'
        )
    body.append(f'<path class="axis" d="M{left:.1f} {_TOP:g}V{bottom:g}H{WIDTH - EDGE:g}"/>')
    body.append(label(0, _TOP + 5, top_name, css="say"))
    body.append(label(0, bottom + 4, "0", css="say"))
    free = 0.0
    for day, name in months:
        if x(day) >= free and x(day) + narrow_width(name, size=_LETTERS) <= WIDTH:
            body.append(f'<path class="axis" d="M{x(day):.1f} {bottom:g}v5"/>')
            body.append(label(round(x(day), 1), bottom + 18, name, css="say"))
            free = x(day) + narrow_width(name, size=_LETTERS) + 6.0
    if course.limit is not None:
        at = y(course.limit)
        body.append(f'<path class="cap" d="M{left:.1f} {at:.1f}H{WIDTH - EDGE:g}"/>')
        body.append(label(left + 4, round(at - 6, 1), limit_name, css="tag halo"))
    for css, points in (("level ahead", course.ahead), ("level", course.used)):
        if points:
            path = "L".join(f"{x(day):.1f} {y(value):.1f}" for day, value in points)
            body.append(f'<path class="{css}" d="M{path}"/>')
    return drawing(title, description, body, width=WIDTH, height=bottom + 24.0, name="season-use")
