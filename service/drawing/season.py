"""Lines over days: a season between its rain and its irrigation, and one number's course.

What is measured is a thick line, what is forecast is dots on grey ground; each strip has a scale of
its own. Down is dry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.drawing.frame import (
    EDGE,
    WIDTH,
    axis_end,
    drawing,
    end_labels,
    figure,
    label,
    most_of,
    narrow_width,
    text,
)

_LEFT = 34.0
_TOP = 22.0
_BETWEEN = 34.0
_LETTERS = 13.0
_LINE_HEIGHT = 16.0
_HEADROOM = 1.08
"""Below the driest day, so that a label under it has room."""
_LEAST_DEPTH = 0.05
"""The scale never ends above it: a season that is full all along is a flat line on top."""


@dataclass(frozen=True, slots=True)
class SeasonDays:
    """The days in order; depths in the reader's unit, NaN where nothing is known."""

    missing: Sequence[float]
    """At the end of each day."""
    unwatered: Sequence[float]
    """How much would be missing then, had nothing run that day."""
    trigger: Sequence[float]
    suffers: Sequence[float]
    rain: Sequence[float]
    irrigation: Sequence[float]
    first_forecast: int
    """Place of the first day ahead; the number of days where there is none."""
    named: Sequence[tuple[int, str]]
    """Places that the time axis names, the most important first."""
    fullest: Sequence[float] = ()
    """What is missing at the end of a day ahead in one course of the weather in ten or fewer."""
    driest: Sequence[float] = ()
    """What is exceeded in one course in ten; both as long as the days, or empty."""

    def since(self, first: int) -> SeasonDays:
        """The days from a place on."""
        return SeasonDays(
            missing=self.missing[first:],
            unwatered=self.unwatered[first:],
            trigger=self.trigger[first:],
            suffers=self.suffers[first:],
            rain=self.rain[first:],
            irrigation=self.irrigation[first:],
            first_forecast=max(self.first_forecast - first, 0),
            fullest=self.fullest[first:],
            driest=self.driest[first:],
            named=[(place - first, name) for place, name in self.named if place >= first],
        )


@dataclass(frozen=True, slots=True)
class SeasonWords:
    """The words of the drawing, in the reader's language and units."""

    rain: str
    missing: str
    irrigation: str
    full: str
    ahead: str
    now: str
    """What is missing on the last measured day."""
    last: str
    """What is missing on the last day ahead; empty where there is none."""
    trigger: str
    suffers: str


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where things are: the strips from above, the days from the left."""

    left: float
    right: float
    step: float
    sky: float
    sky_deep: float
    full: float
    deep: float
    ground: float
    ground_tall: float
    dry: float
    """The depth at the lower end of the middle strip."""

    def x(self, place: float) -> float:
        """The middle of a day."""
        return self.left + (place + 0.5) * self.step

    def y(self, depth: float) -> float:
        """The height of a depth that is missing."""
        return self.full + min(max(depth / self.dry, 0.0), 1.0) * self.deep


def season_chart(
    title: str, description: str, days: SeasonDays, words: SeasonWords, *, is_wide: bool, name: str
) -> Markup:
    """A season: wide with its labels in a gutter, or narrow with labels beside the lines."""
    labels = (words.last, words.trigger, words.suffers)
    gutter = max(narrow_width(each, size=_LETTERS + 1.0) for each in labels) + 14.0
    width = 780 if is_wide else WIDTH
    right = width - (gutter if is_wide else 8.0)
    sky_deep, deep, tall = (44.0, 180.0, 46.0) if is_wide else (40.0, 156.0, 42.0)
    known = (*days.missing, *days.unwatered, *days.trigger, *days.suffers, *days.driest)
    full = _TOP + sky_deep + _BETWEEN
    frame = _Frame(
        left=_LEFT,
        right=right,
        step=(right - _LEFT) / max(len(days.missing), 1),
        sky=_TOP,
        sky_deep=sky_deep,
        full=full,
        deep=deep,
        ground=full + deep + _BETWEEN + tall,
        ground_tall=tall,
        dry=max(most_of(known), _LEAST_DEPTH) * _HEADROOM,
    )
    height = frame.ground + 24.0
    body = [
        *_future(frame, days, words),
        *_time_axis(frame, days, height - 6.0),
        *_sky(frame, days, words),
        *_soil(frame, days, words),
        *(_gutter(frame, days, words) if is_wide else _beside(frame, days, words)),
        *_now(frame, days, words),
        *_ground(frame, days, words),
    ]
    css = "only-wide" if is_wide else "only-narrow"
    return drawing(title, description, body, width=width, height=height, name=name, css=css)


def _future(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    if days.first_forecast >= len(days.missing):
        return []
    x = frame.x(days.first_forecast - 0.5)
    return [
        f'<path class="future" d="M{x:.1f} {frame.sky:g}H{frame.right:.1f}V{frame.ground:g}'
        f'H{x:.1f}z"/>',
        label(round(frame.right, 1), frame.sky - 7, words.ahead, css="say end"),
    ]


def _time_axis(frame: _Frame, days: SeasonDays, y: float) -> list[str]:
    """Strokes and names of days; a name that would run into another is left out."""
    body: list[str] = []
    taken: list[tuple[float, float]] = []
    for place, shown in days.named:
        x = frame.x(place - 0.5)
        half = narrow_width(shown, size=_LETTERS) / 2.0
        middle = min(max(x, frame.left + half), frame.right - half)
        if any(middle - half < right + 6 and left - 6 < middle + half for left, right in taken):
            continue
        taken.append((middle - half, middle + half))
        body.append(f'<path class="grid" d="M{x:.1f} {frame.sky:g}V{frame.ground:g}"/>')
        body.append(label(round(middle, 1), y, shown, css="say mid"))
    return body


def _sky(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    most = axis_end(most_of(days.rain))
    scale = frame.sky_deep / most
    body = [
        label(frame.left, frame.sky - 7, words.rain, css="t-rain"),
        f'<path class="axis" d="M{frame.left:g} {frame.sky:g}H{frame.right:.1f}"/>',
    ]
    for share in (0.5, 1.0):
        body += _grid(frame, frame.sky + share * frame.sky_deep, f"{share * most:g}")
    bars = _bars(frame, days.rain, range(len(days.rain)), frame.sky, scale)
    return [*body, f'<path class="rain rainfill" d="{bars}"/>'] if bars else body


def _ground(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    most = axis_end(most_of(days.irrigation))
    scale = -frame.ground_tall / most
    body = [
        label(frame.left, frame.ground - frame.ground_tall - 7, words.irrigation, css="t-water"),
        f'<path class="axis" d="M{frame.left:g} {frame.ground:g}H{frame.right:.1f}"/>',
    ]
    for share in (0.5, 1.0):
        body += _grid(frame, frame.ground - share * frame.ground_tall, f"{share * most:g}")
    for css, places in (
        ("run", range(days.first_forecast)),
        ("backed", range(days.first_forecast, len(days.irrigation))),
    ):
        bars = _bars(frame, days.irrigation, places, frame.ground, scale)
        if bars:
            body.append(f'<path class="{css}" d="{bars}"/>')
    return body


def _bars(frame: _Frame, values: Sequence[float], places: range, base: float, scale: float) -> str:
    wide = max(0.7 * frame.step, 2.0)
    return "".join(
        f"M{frame.x(place) - wide / 2.0:.1f} {base:g}v{values[place] * scale:.1f}h{wide:.1f}"
        f"V{base:g}z"
        for place in places
        if place < len(values) and math.isfinite(values[place]) and values[place] > 0.0
    )


def _grid(frame: _Frame, y: float, shown: str) -> list[str]:
    return [
        f'<path class="grid" d="M{frame.left:g} {y:.1f}H{frame.right:.1f}"/>',
        label(frame.left - 5, round(y + 4, 1), shown, css="say end"),
    ]


def _soil(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    body = [
        label(frame.left, frame.full - 7, words.missing, css="loud"),
        f'<path class="axis" d="M{frame.left:g} {frame.full:g}H{frame.right:.1f}"/>',
        label(frame.left - 5, frame.full + 4, words.full, css="say end"),
    ]
    step = _round_step(frame.dry)
    for count in range(1, int(frame.dry / step) + 1):
        body += _grid(frame, frame.y(count * step), f"{count * step:g}")
    body += _band(frame, days)
    for css, values in (("trigger", days.trigger), ("stress", days.suffers)):
        body += _line(frame, css, values, 0)
    spared = "".join(
        f"M{frame.x(place):.1f} {frame.y(ends):.1f}V{frame.y(dry):.1f}"
        for place, (ends, dry) in enumerate(zip(days.missing, days.unwatered, strict=True))
        if place < days.first_forecast and dry > ends
    )
    if spared:
        body.append(f'<path class="spared" d="{spared}"/>')
    body += _line(frame, "level", days.missing[: days.first_forecast], 0)
    last = max(days.first_forecast - 1, 0)
    return [*body, *_line(frame, "level ahead", days.missing[last:], last)]


def _band(frame: _Frame, days: SeasonDays) -> list[str]:
    """Where the days ahead end eight times of ten, from the last measured day on."""
    ends = [
        (frame.x(place), frame.y(full), frame.y(dry))
        for place, (full, dry) in enumerate(zip(days.fullest, days.driest, strict=True))
        if math.isfinite(full) and math.isfinite(dry)
    ]
    if not ends:
        return []
    last = days.first_forecast - 1
    if last >= 0 and math.isfinite(days.missing[last]):
        y = frame.y(days.missing[last])
        ends.insert(0, (frame.x(last), y, y))
    path = "L".join(
        f"{x:.1f} {y:.1f}"
        for x, y in (
            *((x, full) for x, full, _ in ends),
            *((x, dry) for x, _, dry in reversed(ends)),
        )
    )
    return [f'<path class="band" d="M{path}z"/>']


def _line(frame: _Frame, css: str, values: Sequence[float], first: int) -> list[str]:
    points = [
        (frame.x(first + place), frame.y(value) if math.isfinite(value) else math.nan)
        for place, value in enumerate(values)
    ]
    path = _path(points)
    return [f'<path class="{css}" d="{path}"/>'] if path else []


def _round_step(most: float) -> float:
    """A round step of which two to five fit.

    >>> _round_step(0.28), _round_step(12.0), _round_step(45.0)
    (0.1, 5.0, 20.0)
    """
    power = 10.0 ** math.floor(math.log10(most / 2.0))
    return next(step * power for step in (5.0, 2.0, 1.0) if step * power * 2.0 <= most * 1.001)


def _gutter(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    """The lines by name, right of where each ends, spread where they come too close."""
    ends = [
        (frame.y(last), css, shown)
        for css, shown, values in (
            ("loud", words.last, days.missing),
            ("", words.trigger, days.trigger),
            ("t-stress", words.suffers, days.suffers),
        )
        if shown and math.isfinite(last := _last(values))
    ]
    ends.sort(key=lambda each: each[0])
    body: list[str] = []
    lowest = -math.inf
    for y, css, shown in ends:
        lowest = max(y + 4.0, lowest + _LINE_HEIGHT)
        body.append(label(round(frame.right + 8, 1), round(lowest, 1), shown, css=css))
    return body


def _beside(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    """The two limits by name, under their lines at the left."""
    trigger, suffers = _first(days.trigger), _first(days.suffers)
    body = []
    if math.isfinite(trigger):
        y = round(frame.y(trigger) + 16, 1)
        body.append(label(frame.left + 4, y, words.trigger, css="halo"))
    if math.isfinite(suffers):
        below = frame.y(suffers) + 16
        y = round(min(below, frame.full + frame.deep + 8), 1)
        body.append(label(frame.left + 4, y, words.suffers, css="t-stress halo"))
    return body


def _now(frame: _Frame, days: SeasonDays, words: SeasonWords) -> list[str]:
    """Where the season stands: a dot on its last measured day, with what is missing."""
    place = days.first_forecast - 1
    if place < 0 or not math.isfinite(days.missing[place]):
        return []
    x, y = frame.x(place), frame.y(days.missing[place])
    wide = narrow_width(words.now, size=_LETTERS + 1.0)
    is_left = x - wide < frame.left
    behind = [
        frame.y(depth)
        for day, depth in enumerate(days.missing)
        if math.isfinite(depth) and (x - 4 if is_left else x - wide) <= frame.x(day) <= x + wide
    ]
    # On top where the line leaves room there, else under the dot.
    letters_y = frame.full + 14.0 if min(behind) > frame.full + 20.0 else y + 20.0
    return [
        f'<circle class="dot" cx="{x:.1f}" cy="{y:.1f}" r="4"/>',
        label(
            round(x - 4 if is_left else x + 4, 1),
            round(letters_y, 1),
            words.now,
            css=f"loud halo{'' if is_left else ' end'}",
        ),
    ]


def _first(values: Sequence[float]) -> float:
    return next((value for value in values if math.isfinite(value)), math.nan)


def _last(values: Sequence[float]) -> float:
    return _first(values[::-1])


def curve(
    title: str, description: str, day_labels: Sequence[str], values: Sequence[float], *, name: str
) -> Markup:
    """One line over days, from zero."""
    top, deep = 10.0, 80.0
    step = (WIDTH - _LEFT - 8) / max(len(values), 1)
    highest = axis_end(most_of(values))
    body = [
        f'<path class="axis" d="M{_LEFT} {top}V{top + deep}H{WIDTH - EDGE}"/>',
        text(_LEFT - 4, top + 8, f"{highest:g}", anchor="end", css="small"),
        text(_LEFT - 4, top + deep, "0", anchor="end", css="small"),
    ]
    path = _path(
        [
            (_LEFT + (place + 0.5) * step, top + deep * (1.0 - min(value / highest, 1.0)))
            for place, value in enumerate(values)
        ]
    )
    if path:
        body.append(f'<path class="line level" d="{path}"/>')
    body += end_labels(top + deep + 16, day_labels, left=_LEFT)
    return figure(title, description, body, height=top + deep + 24, name=name)


def _path(points: Sequence[tuple[float, float]]) -> str:
    """A line through points; where one is not known it is broken."""
    parts = []
    is_begun = False
    for x, y in points:
        if not math.isfinite(y):
            is_begun = False
            continue
        # A day between two gaps still shows: a line of no length has round ends.
        parts.append(f"{'L' if is_begun else 'M'}{x:.1f} {y:.1f}{'' if is_begun else 'h.1'}")
        is_begun = True
    return "".join(parts)
