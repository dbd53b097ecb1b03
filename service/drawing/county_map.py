"""Counties on a map, each in the class of its need; every county leads to its row in the table.

Outlines come in a plane, in any unit, north up. Each is written once and used again for its color,
its hatch and the coast around all of them. A name goes where there is room for it in its county, in
one line or two; else the number alone; and what has no room for that either is reported back, to be
written beside the map.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import Markup, escape

from service.drawing.frame import label, narrow_width
from service.drawing.need_scale import CLASSES, HATCH

WIDTH: Final = 360
MOST_HEIGHT: Final = 380.0
EDGE: Final = 6.0
FINE_FROM: Final = 13
"""Counties from which the borders are drawn finer."""
_BOLD: Final = 1.08
"""Width of bold letters by that of others."""
_ELLIPSE: Final = 2.0
"""Width of the room for a label by its height; see :mod:`service.geography.label_spot`."""

Place = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapCounty:
    """One county; places in the plane."""

    name: str
    shown: str
    """Its number as it is written, or that there is none."""
    said: str
    """Name, number and what else is to be said of it, for who does not see the map."""
    address: str
    """Where its row is."""
    rings: Sequence[Sequence[Place]]
    spot: Place
    """The middle of the room for its label."""
    half_height: float
    """Of that room, an ellipse twice as wide as high."""
    need_class: int
    """1 to 5; 0: not known."""
    is_stand_in: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MapKey:
    """What stands below a map."""

    marks: Sequence[str]
    """At the six limits of the classes."""
    stand_in: str
    north: str
    distance: float
    """Length of the scale bar, in the unit of the plane."""
    distance_shown: str


@dataclass(frozen=True, slots=True)
class CountyMap:
    """A map and what found no room on it."""

    drawn: Markup
    unlabeled: tuple[MapCounty, ...]


def county_map(
    title: str,
    description: str,
    counties: Sequence[MapCounty],
    key: MapKey,
    *,
    name: str = "map",
) -> CountyMap:
    """The counties in the order given, which is also that of their links.

    The hatch is :data:`service.drawing.need_scale.HATCH_PATTERN`, drawn elsewhere on the page.
    """
    frame = _Frame.around(counties)
    paths = [
        f'<path id="{name}-{place}" d="{frame.path(county.rings)}"/>'
        for place, county in enumerate(counties)
    ]
    fine = " fine" if len(counties) >= FINE_FROM else ""
    links, unlabeled = [], []
    for place, county in enumerate(counties):
        written = _label(county, frame)
        if not written:
            unlabeled.append(county)
        shape = f'href="#{name}-{place}"'
        hatch = f'<use fill="url(#{HATCH})" {shape}/>' if county.is_stand_in else ""
        links.append(
            f'<a href="{escape(county.address)}" aria-label="{escape(county.said)}">'
            f"<title>{escape(county.said)}</title>"
            f'<use class="county{fine} need-{county.need_class}" {shape}/>{hatch}{written}</a>'
        )
    foot, height = _foot(frame, key, any(county.is_stand_in for county in counties))
    body = [
        f'<defs><g id="{name}-land">{"".join(paths)}</g></defs>',
        f'<use class="coast" href="#{name}-land"/>',
        *links,
        f'<g aria-hidden="true">{"".join(foot)}</g>',
    ]
    # Not an image: what is within an image is hidden from who cannot see it, and links are not.
    drawn = Markup(
        '<svg class="chart map" viewBox="0 0 {} {}" role="group" aria-labelledby="{}-t {}-d">'
        '<title id="{}-t">{}</title><desc id="{}-d">{}</desc>{}</svg>'
    ).format(
        WIDTH, round(height), name, name, name, title, name, description, Markup("".join(body))
    )
    return CountyMap(drawn, tuple(unlabeled))


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where things of the plane are in the drawing."""

    left: float
    top: float
    scale: float
    height: float
    """Of the land."""
    shift: float
    """To the middle of the drawing."""

    @classmethod
    def around(cls, counties: Sequence[MapCounty]) -> _Frame:
        places = [place for county in counties for ring in county.rings for place in ring]
        across, up = zip(*places, strict=True)
        wide, high = max(across) - min(across), max(up) - min(up)
        scale = min((WIDTH - 2 * EDGE) / wide, MOST_HEIGHT / high)
        shift = (WIDTH - 2 * EDGE - wide * scale) / 2
        return cls(min(across), max(up), scale, high * scale, shift)

    def place(self, place: Place) -> Place:
        return (
            EDGE + self.shift + (place[0] - self.left) * self.scale,
            EDGE + (self.top - place[1]) * self.scale,
        )

    def path(self, rings: Sequence[Sequence[Place]]) -> str:
        """Rings in steps of a tenth, each from the place before it."""
        return "".join(self._steps(ring) for ring in rings)

    def _steps(self, ring: Sequence[Place]) -> str:
        tenths = [(round(10 * x), round(10 * y)) for x, y in map(self.place, ring)]
        x, y = tenths[0]
        steps = []
        for next_x, next_y in tenths[1:]:
            if (next_x, next_y) != (x, y):
                steps.append(_pair(next_x - x, next_y - y))
            x, y = next_x, next_y
        # A step that begins with its sign needs nothing between it and the one before.
        run = "".join(
            step if step[0] == "-" or not at else f" {step}" for at, step in enumerate(steps)
        )
        return f"M{_pair(*tenths[0])}l{run}z"


def _pair(across: int, down: int) -> str:
    second = _tenths(down)
    return _tenths(across) + (second if second[0] == "-" else f" {second}")


def _tenths(value: int) -> str:
    """A number of tenths, as short as it can be written: ``-.5``, ``12``, ``3.4``."""
    whole, tenth = divmod(abs(value), 10)
    sign = "-" if value < 0 else ""
    return f"{sign}{whole}" if not tenth else f"{sign}{whole or ''}.{tenth}"


def _label(county: MapCounty, frame: _Frame) -> str:
    """Name and number as large as there is room for; empty where there is none."""
    x, y = frame.place(county.spot)
    room = county.half_height * frame.scale
    for lines, is_large in _layouts(county.name):
        size, value_size, pitch, foot = (14.0, 21.0, 16, 20) if is_large else (12.5, 13.0, 14, 14)
        wide = max(
            narrow_width(county.shown, size=value_size),
            *(narrow_width(line, size=size) for line in lines),
            0.0,
        )
        half_width, half_height = wide * _BOLD / 2, (pitch * len(lines) + foot) / 2
        if (half_width / _ELLIPSE) ** 2 + half_height**2 > room**2:
            continue
        css = f" on-{county.need_class} mid"
        top = y - half_height
        body = []
        if county.is_stand_in:
            # Letters are not read across a hatch.
            box = f"M{x - half_width - 4:.1f} {top - 1:.1f}h{2 * half_width + 8:.1f}"
            box += f"v{2 * half_height + 3:.1f}h-{2 * half_width + 8:.1f}z"
            body.append(f'<path class="need-{county.need_class}" d="{box}"/>')
        x, look = round(x, 1), "name" if is_large else "tag"
        body += [
            label(x, round(top + pitch * (place + 1) - 4, 1), line, css=look + css)
            for place, line in enumerate(lines)
        ]
        base = round(top + pitch * len(lines) + (17 if is_large else 11), 1)
        look = "value" if is_large and county.need_class else "loud"
        body.append(label(x, base, county.shown, css=look + css))
        return f'<g aria-hidden="true">{"".join(body)}</g>'
    return ""


def _layouts(name: str) -> Iterator[tuple[list[str], bool]]:
    """Ways to write a name, the best first: its lines, and whether it is large."""
    words = name.split()
    halves = [[" ".join(words[:at]), " ".join(words[at:])] for at in range(1, len(words))]
    for is_large in (True, False):
        yield [name], is_large
        if halves:
            yield min(halves, key=lambda lines: max(map(len, lines))), is_large
    yield [], False


def _foot(frame: _Frame, key: MapKey, has_stand_ins: bool) -> tuple[list[str], float]:
    """The scale of need, the length of some miles, and where north is; with where it all ends."""
    top = round(EDGE + frame.height + 18)
    step, tall = 40, 12
    boxes = [
        f'<path class="need-{each + 1}" d="M{EDGE + each * step:g} {top}h{step}v{tall}h-{step}z"/>'
        for each in range(CLASSES)
    ]
    ticks = "".join(f"M{EDGE + each * step:g} {top}v{tall + 4}" for each in range(CLASSES + 1))
    axis = f"M{EDGE:g} {top}h{CLASSES * step}v{tall}h-{CLASSES * step}z"
    body = [*boxes, f'<path class="axis" d="{axis}{ticks}"/>']
    for each, mark in enumerate(key.marks):
        at = EDGE + each * step
        body.append(label(at, top + tall + 17, mark, css="say mid" if each else "say"))
    long = round(key.distance * frame.scale, 1)
    left = 326 - long
    body += [
        f'<path class="axis" d="M{left:g} {top + tall}h{long:g}M{left:g} {top + 6}v{tall}'
        f'M326 {top + 6}v{tall}"/>',
        label(326, top + tall + 17, key.distance_shown, css="say end"),
        f'<path class="dot" d="M348 {top - 4}l6 15-6-4-6 4z"/>',
        label(348, top + tall + 17, key.north, css="say mid"),
    ]
    end = top + tall + 22
    if has_stand_ins:
        box = f'd="M{EDGE:g} {end + 4}h28v{tall}h-28z"'
        body += [
            f'<path class="need-4" {box}/><path fill="url(#{HATCH})" {box}/>',
            label(EDGE + 36, end + 15, key.stand_in, css="say"),
        ]
        end += 20
    return body, end
