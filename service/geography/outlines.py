"""The outlines of one set of counties as they are stored: simplified together, with their labels.

In: the outlines of each county as they were read. Out: outlines that a page can afford, in degrees,
and where the label of each goes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.errors import Fault, InputInvalid
from service.geography.borders import kept_corners
from service.geography.equal_area import project
from service.geography.geojson import signed_area
from service.geography.label_spot import find_label_spot
from service.geography.records import Outline, Polygon, Position, Ring

DRAWN_WIDTH: Final = 360.0
"""Of the map on a page, in its own units: smaller things are not seen."""
SMALLEST_SEEN: Final = 1.0
"""[CHOICE] Area of a bend, in square units of the map; about a dot of a small screen."""
SMALLEST_RING: Final = 2.0
"""[CHOICE] Area of an island or hole, in the same; a county's largest ring always stays."""
MOST_CORNERS: Final = 2_000
"""[CHOICE] Of all outlines together; a corner takes about eight bytes of a page."""
WIDEST_DEG: Final = 180.0
FARTHEST_LATITUDE_DEG: Final = 85.0
_NEAR_DEG: Final = 3.0
"""[CHOICE] How far from the box of its outline a county's own weather site may be."""


@dataclass(frozen=True, slots=True)
class PlacedOutline:
    """One county's outline and its label; positions in degrees."""

    outline: Outline
    label_longitude_deg: float
    label_latitude_deg: float
    label_half_height_deg: float
    """Half the height of an ellipse around the label, within the outline and twice as wide as high;
    on the sphere, so in degrees of a great circle."""


def place_outlines(outlines: Mapping[str, Outline]) -> dict[str, PlacedOutline]:
    """The outlines by county, simplified so that common borders stay common.

    outlines: by county code, positions [deg].
    Shapes: one outline for each county.
    Returns: by county code, with fewer corners and small islands left out. Raises InputInvalid for
    counties on both sides of the 180th meridian or next to a pole.
    Source: equal-area plane, :func:`service.geography.equal_area.project`; sizes are [CHOICE].

    >>> square = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.5, 1.000002), (0.0, 1.0))
    >>> found = place_outlines({"X1": ((square,),)})["X1"]
    >>> found.outline, round(found.label_longitude_deg, 2)
    (((((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)),),), 0.5)
    """
    middle_deg = middle_latitude_deg(list(outlines.values()))
    flat, degrees_of = _flat(outlines, middle_deg)
    unit_area = _unit_area(list(flat.values()))
    seen = {
        code: _without_small_rings(outline, SMALLEST_RING * unit_area)
        for code, outline in flat.items()
    }
    kept = kept_corners(
        list(seen.values()), smallest_area=SMALLEST_SEEN * unit_area, most_corner_count=MOST_CORNERS
    )
    found = {}
    for code, outline in seen.items():
        thin = tuple(
            tuple(tuple(corner for corner in ring if corner in kept) for ring in polygon)
            for polygon in outline
        )
        spot = find_label_spot(max(thin, key=lambda polygon: signed_area(polygon[0])))
        shrink = math.cos(math.radians(middle_deg))
        found[code] = PlacedOutline(
            outline=tuple(
                tuple(tuple(degrees_of[corner] for corner in ring) for ring in polygon)
                for polygon in thin
            ),
            label_longitude_deg=round(math.degrees(spot.x / shrink), 5),
            label_latitude_deg=round(math.degrees(math.asin(spot.y * shrink)), 5),
            label_half_height_deg=round(math.degrees(spot.half_height), 5),
        )
    return found


def middle_latitude_deg(outlines: Sequence[Outline]) -> float:
    """The latitude halfway between the southernmost and the northernmost corner.

    Shapes: at least one outline, positions [deg].
    Returns: degrees. Raises InputInvalid where a map of them cannot be drawn.
    Source: common practice, no source.
    """
    corners = [corner for outline in outlines for corner in _corners(outline)]
    west, east = min(x for x, _ in corners), max(x for x, _ in corners)
    south, north = min(y for _, y in corners), max(y for _, y in corners)
    if east - west > WIDEST_DEG:
        raise InputInvalid(
            "the counties cannot be drawn on one map",
            [
                Fault(
                    "/features", f"longitude {west:g} to {east:g}", "one side of the 180th meridian"
                )
            ],
        )
    if max(abs(south), abs(north)) > FARTHEST_LATITUDE_DEG:
        raise InputInvalid(
            "the counties cannot be drawn on one map",
            [
                Fault(
                    "/features",
                    f"latitude {south:g} to {north:g}",
                    f"up to {FARTHEST_LATITUDE_DEG:g}",
                )
            ],
        )
    return (south + north) / 2.0


def check_places(outlines: Mapping[str, Outline], sites: Mapping[str, Position]) -> None:
    """Raise InputInvalid where no outline is anywhere near its county's weather site.

    outlines, sites: by county code, positions [deg].
    Shapes: one outline and one site for each county.
    Returns: nothing. Numbers of a projection may well look like degrees; this tells them.
    Source: no source. [CHOICE]
    """
    if any(_is_near(outline, sites[code]) for code, outline in outlines.items()):
        return
    code, outline = next(iter(outlines.items()))
    longitude, latitude = sites[code]
    corner = outline[0][0][0]
    is_exchanged = any(_is_near(outline, sites[code][::-1]) for code, outline in outlines.items())
    hint = "; longitude and latitude seem to be exchanged" if is_exchanged else ""
    raise InputInvalid(
        "the boundaries are not where the counties are",
        [
            Fault(
                "/features",
                f"county {code} with a corner at longitude {corner[0]:g}, latitude {corner[1]:g}",
                f"an outline within {_NEAR_DEG:g} degrees of its weather site at longitude"
                f" {longitude:g}, latitude {latitude:g}{hint}",
            )
        ],
    )


def _is_near(outline: Outline, site: Position) -> bool:
    return all(
        min(corner[axis] for corner in _corners(outline)) - _NEAR_DEG
        <= site[axis]
        <= max(corner[axis] for corner in _corners(outline)) + _NEAR_DEG
        for axis in (0, 1)
    )


def _corners(outline: Outline) -> list[Position]:
    return [corner for polygon in outline for ring in polygon for corner in ring]


def _flat(
    outlines: Mapping[str, Outline], middle_deg: float
) -> tuple[dict[str, Outline], dict[Position, Position]]:
    """The outlines in the plane, and the degrees of each of its corners."""
    every = list(
        dict.fromkeys(corner for outline in outlines.values() for corner in _corners(outline))
    )
    x, y = project(*zip(*every, strict=True), standard_latitude_deg=middle_deg)
    flat_of = dict(zip(every, zip(x.tolist(), y.tolist(), strict=True), strict=True))
    flat = {
        code: tuple(
            tuple(tuple(flat_of[corner] for corner in ring) for ring in polygon)
            for polygon in outline
        )
        for code, outline in outlines.items()
    }
    return flat, {place: corner for corner, place in flat_of.items()}


def _unit_area(outlines: Sequence[Outline]) -> float:
    """Of a square of the map as it is drawn, in the plane."""
    corners = [corner for outline in outlines for corner in _corners(outline)]
    across, up = zip(*corners, strict=True)
    size: float = max(max(across) - min(across), max(up) - min(up))
    return size * size / DRAWN_WIDTH**2


def _without_small_rings(outline: Outline, smallest_area: float) -> Outline:
    largest = max(outline, key=lambda polygon: abs(signed_area(polygon[0])))

    def is_seen(ring: Ring) -> bool:
        return abs(signed_area(ring)) >= smallest_area

    def seen(polygon: Polygon) -> Polygon:
        return (polygon[0], *(hole for hole in polygon[1:] if is_seen(hole)))

    return tuple(seen(polygon) for polygon in outline if polygon is largest or is_seen(polygon[0]))
