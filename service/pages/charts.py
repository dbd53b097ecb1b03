"""Charts of the pages as SVG text: few marks, big letters, a title and a description in words.

Colours come from the style sheet by class, so that a chart follows light, dark and print; what
tells two things apart is also their place, dash or hatch. Every chart has a table of its numbers
beside it on the page; the letters inside are therefore hidden from screen readers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

WIDTH = 360
"""Small, so that letters stay readable where the chart fills a telephone."""
DAY_MIN = 24 * 60
_LEFT, _RIGHT = 4, 4


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a time line: what runs from when to when, in minutes of the day's clock."""

    label: str
    spans: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Load:
    """What a supply gives over the day, and what it can give, in one unit."""

    label: str
    capacity: float
    capacity_label: str
    steps: tuple[tuple[float, float], ...]
    """Minute from which on, and how much, by time; before the first nothing runs."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line over days; NaN where nothing is known."""

    label: str
    css: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Dot:
    """A place on a map."""

    label: str
    latitude_deg: float
    longitude_deg: float
    level: int
    """0 to 4: how much of what is shown."""


def figure(title: str, told: str, body: Sequence[str], *, height: float, name: str) -> Markup:
    """An SVG picture with its title and description."""
    return Markup(
        '<svg class="chart" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-t {}-d">'
        '<title id="{}-t">{}</title><desc id="{}-d">{}</desc><g aria-hidden="true">{}</g></svg>'
    ).format(WIDTH, round(height), name, name, name, title, name, told, Markup("".join(body)))


def day_line(
    title: str,
    told: str,
    rows: Sequence[Row],
    loads: Sequence[Load],
    hours: Sequence[str],
    *,
    name: str = "day",
) -> Markup:
    """Who runs when over 24 hours, and below it how much of each supply that takes.

    ``hours`` are the names of 0, 6, 12 and 18 o'clock.
    """
    body: list[str] = []
    top = 22.0
    bottom = top + 40.0 * len(rows) + 96.0 * len(loads)
    for place, hour in enumerate((*hours, "")):
        x = _at_minute(place * 360)
        if hour:
            body.append(_text(x, 14, hour, anchor="middle", css="small"))
        body.append(f'<path class="grid" d="M{x:.1f} {top:.1f}V{bottom:.1f}"/>')
    y = top
    for row in rows:
        body.append(_text(_LEFT, y + 14, row.label, css="name"))
        body.append(
            f'<rect class="track" x="{_LEFT}" y="{y + 19:.1f}"'
            f' width="{WIDTH - _LEFT - _RIGHT}" height="14"/>'
        )
        for begins, ends in row.spans:
            x = _at_minute(begins)
            body.append(
                f'<rect class="water" x="{x:.1f}" y="{y + 17:.1f}"'
                f' width="{max(_at_minute(min(ends, DAY_MIN)) - x, 2.0):.1f}" height="18"/>'
            )
        y += 40.0
    for load in loads:
        body += _load(load, y)
        y += 96.0
    return figure(title, told, body, height=bottom + 6, name=name)


def _load(load: Load, y: float) -> list[str]:
    base, high = y + 88.0, max(load.capacity, *(each for _, each in load.steps), 1e-9)
    scale = 52.0 / high
    top = base - load.capacity * scale
    points = [f"M{_LEFT} {base:.1f}"]
    for minute, amount in load.steps:
        points.append(f"H{_at_minute(minute):.1f}V{base - amount * scale:.1f}")
    points.append(f"H{_at_minute(DAY_MIN):.1f}V{base:.1f}Z")
    return [
        _text(_LEFT, y + 16, load.label, css="name"),
        f'<path class="water" d="{"".join(points)}"/>',
        f'<path class="axis" d="M{_LEFT} {base:.1f}H{WIDTH - _RIGHT}"/>',
        f'<path class="limit" d="M{_LEFT} {top:.1f}H{WIDTH - _RIGHT}"/>',
        _text(WIDTH - _RIGHT, top - 5, load.capacity_label, anchor="end", css="small"),
    ]


def season(
    title: str,
    told: str,
    day_labels: Sequence[str],
    lines: Sequence[Line],
    *,
    rain: Sequence[float],
    irrigation: Sequence[float],
    first_forecast: int,
    axis_label: str,
    bars_label: str,
    forecast_label: str,
) -> Markup:
    """Depletion against its limits, downwards as soil dries; water that came in below it."""
    count = max(len(day_labels), 1)
    left, top, deep, bars = 34.0, 26.0, 150.0, 66.0
    step = (WIDTH - left - 8) / count
    highest = _nice(
        max((v for line in lines for v in line.values if math.isfinite(v)), default=1.0)
    )
    body: list[str] = [_text(left, 14, axis_label, css="small")]
    for share in (0.0, 0.5, 1.0):
        y = top + share * deep
        body.append(f'<path class="grid" d="M{left} {y:.1f}H{WIDTH - _RIGHT}"/>')
        body.append(_text(left - 4, y + 4, f"{share * highest:g}", anchor="end", css="small"))
    if first_forecast < count:
        x = left + first_forecast * step
        body.append(
            f'<rect class="ahead" x="{x:.1f}" y="{top}" width="{WIDTH - _RIGHT - x:.1f}"'
            f' height="{deep + bars + 34:.1f}"/>'
        )
        body.append(_text(WIDTH - _RIGHT, 14, forecast_label, anchor="end", css="small"))
    for line in lines:
        points = [
            (left + (place + 0.5) * step, top + min(value / highest, 1.0) * deep)
            for place, value in enumerate(line.values)
            if math.isfinite(value)
        ]
        if points:
            path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            body.append(f'<path class="line {line.css}" d="M{path}"/>')
    base = top + deep + 28.0 + bars
    most = _nice(max((v for v in (*rain, *irrigation) if math.isfinite(v)), default=1.0))
    body.append(_text(left, top + deep + 20, bars_label, css="small"))
    body.append(f'<path class="axis" d="M{left} {base:.1f}H{WIDTH - _RIGHT}"/>')
    body.append(_text(left - 4, base - bars + 12, f"{most:g}", anchor="end", css="small"))
    for css, values, shift in (("rain", rain, 0.08), ("water", irrigation, 0.5)):
        for place, value in enumerate(values):
            if math.isfinite(value) and value > 0.0:
                tall = min(value / most, 1.0) * (bars - 8)
                body.append(
                    f'<rect class="{css}" x="{left + (place + shift) * step:.1f}"'
                    f' y="{base - tall:.1f}" width="{max(0.42 * step, 1.2):.1f}"'
                    f' height="{tall:.1f}"/>'
                )
    for place in sorted({0, count // 2, count - 1}):
        anchor = "start" if place == 0 else "end" if place == count - 1 else "middle"
        body.append(
            _text(
                left + (place + 0.5) * step,
                base + 16,
                day_labels[place] if day_labels else "",
                anchor=anchor,
                css="small",
            )
        )
    return figure(title, told, body, height=base + 24, name="season")


def curve(
    title: str, told: str, day_labels: Sequence[str], values: Sequence[float], *, name: str
) -> Markup:
    """One line over days, from zero."""
    count = max(len(values), 1)
    left, top, deep = 34.0, 10.0, 80.0
    step = (WIDTH - left - 8) / count
    highest = _nice(max((value for value in values if math.isfinite(value)), default=1.0))
    points = [
        f"{left + (place + 0.5) * step:.1f} {top + deep - value / highest * deep:.1f}"
        for place, value in enumerate(values)
        if math.isfinite(value)
    ]
    body = [
        f'<path class="axis" d="M{left} {top}V{top + deep}H{WIDTH - _RIGHT}"/>',
        _text(left - 4, top + 8, f"{highest:g}", anchor="end", css="small"),
        _text(left - 4, top + deep, "0", anchor="end", css="small"),
    ]
    if points:
        body.append(f'<path class="line level" d="M{"L".join(points)}"/>')
    if day_labels:
        body.append(_text(left, top + deep + 16, day_labels[0], css="small"))
        body.append(
            _text(WIDTH - _RIGHT, top + deep + 16, day_labels[-1], anchor="end", css="small")
        )
    return figure(title, told, body, height=top + deep + 24, name=name)


def ranked(title: str, told: str, bars: Sequence[tuple[str, float, str]]) -> Markup:
    """Bars from the largest down: label, value, and how the value is written."""
    highest = max((value for _, value, _ in bars if math.isfinite(value)), default=0.0) or 1.0
    body: list[str] = []
    y = 0.0
    for label, value, shown in bars:
        body.append(_text(2, y + 15, label, css="name"))
        body.append(_text(WIDTH - 2, y + 15, shown, anchor="end", css="name"))
        wide = value / highest * (WIDTH - 4) if math.isfinite(value) else 0.0
        body.append(f'<rect class="track" x="2" y="{y + 20:.1f}" width="{WIDTH - 4}" height="10"/>')
        body.append(
            f'<rect class="water" x="2" y="{y + 20:.1f}" width="{max(wide, 0.0):.1f}" height="10"/>'
        )
        y += 38.0
    return figure(title, told, body, height=y + 4, name="ranked")


def dot_map(title: str, told: str, dots: Sequence[Dot]) -> Markup:
    """Places by their coordinates, north up; the more, the larger and the darker the dot."""
    if not dots:
        return figure(title, told, (), height=10, name="map")
    latitudes = [dot.latitude_deg for dot in dots]
    longitudes = [dot.longitude_deg for dot in dots]
    shrink = math.cos(math.radians(sum(latitudes) / len(latitudes)))
    wide = max((max(longitudes) - min(longitudes)) * shrink, 0.2)
    high = max(max(latitudes) - min(latitudes), 0.2)
    scale = min((WIDTH - 110) / wide, 260 / high)
    middle = (max(longitudes) + min(longitudes)) / 2
    height = high * scale + 76
    body = [f'<rect class="ground" x="1" y="1" width="{WIDTH - 2}" height="{height - 2:.1f}"/>']
    centre = (max(latitudes) + min(latitudes)) / 2
    for dot in dots:
        x = WIDTH / 2 + (dot.longitude_deg - middle) * shrink * scale
        y = height / 2 - (dot.latitude_deg - centre) * scale
        body.append(
            f'<circle class="dot level{dot.level}" cx="{x:.1f}" cy="{y:.1f}"'
            f' r="{5 + 2.5 * dot.level:.1f}"/>'
        )
        if len(dots) <= 40:
            anchor = "start" if x < 60 else "end" if x > WIDTH - 60 else "middle"
            body.append(_text(x, y + 30, dot.label, anchor=anchor, css="small"))
    return figure(title, told, body, height=height, name="map")


def load_steps(
    spans: Sequence[tuple[float, float, float]],
) -> tuple[tuple[float, float], ...]:
    """What runs together, as steps: spans are from, to and how much.

    >>> load_steps([(0, 60, 2.0), (30, 60, 1.0)])
    ((0, 2.0), (30, 3.0), (60, 0.0))
    """
    moments = sorted({moment for begins, ends, _ in spans for moment in (begins, ends)})
    return tuple(
        (moment, sum((amount for begins, ends, amount in spans if begins <= moment < ends), 0.0))
        for moment in moments
    )


def _at_minute(minute: float) -> float:
    return _LEFT + (WIDTH - _LEFT - _RIGHT) * min(max(minute, 0.0), DAY_MIN) / DAY_MIN


def _nice(value: float) -> float:
    """The next number at the end of an axis that reads well."""
    if not value > 0.0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(
        step * power
        for step in (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
        if step * power >= value * 0.999
    )


def _text(x: float, y: float, text: str, *, anchor: str = "start", css: str) -> str:
    return (
        f'<text class="{css}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
    )
