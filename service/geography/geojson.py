"""GeoJSON as published in RFC 7946: which outlines a document has, and what its features are named.

In: a document as parsed from JSON. Out: outlines with the properties of their features, or every
fault with its place in the document. Rings may turn either way (section 3.1.6 asks parsers to
accept both); they come out with the outer ring counterclockwise. What would be drawn in the wrong
place is refused: coordinates that are not degrees, and edges across the 180th meridian.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from service.errors import Fault, InputInvalid
from service.geography.records import Outline, Polygon, Position, Ring

MOST_POSITIONS: Final = 400_000
"""[CHOICE] Some hundred counties with every bend of their rivers."""
MOST_FEATURES: Final = 5_000
MOST_FAULTS: Final = 20
"""A file in the wrong projection is wrong at every corner."""
DECIMALS: Final = 6
"""[CHOICE] 0.1 m: corners of neighbors that differ by less are one, and their border is shared."""
LONGEST_SHOWN: Final = 60
_UNPROJECTED: Final = frozenset({"CRS84", "84", "CRS83", "83", "4326", "4269", "4258"})
"""WGS 84, and NAD 83 and ETRS 89, which are within 2 m of it; the last part of their names."""
_DEGREES: Final = "longitude and latitude in degrees (WGS 84, EPSG:4326), longitude first"
_OUTLINES: Final = "a Polygon or a MultiPolygon"


@dataclass(frozen=True, slots=True)
class NamedOutline:
    """One feature of a document."""

    place: int
    """Its place among the features, from 0."""
    names: dict[str, str]
    """Its properties that may name it, as text; ``id`` is the feature's own unless a property has
    that name."""
    outline: Outline


@dataclass(frozen=True, slots=True)
class GeoJson:
    """What a document has."""

    outlines: tuple[NamedOutline, ...]
    unplaced_count: int
    """Features whose geometry is null (section 3.2)."""


def read_geojson(document: Any) -> GeoJson:
    """The outlines of a FeatureCollection or of a single Feature.

    document: as parsed from JSON: mappings, lists, text and numbers.
    Shapes: one outline for each feature that has a geometry.
    Returns: positions [deg], rounded to :data:`DECIMALS`. Raises InputInvalid with every fault, at
    most :data:`MOST_FAULTS` of them.
    Source: RFC 7946, sections 3 and 4.

    >>> ring = [[0, 0], [1, 0], [1, 1], [0, 0]]
    >>> read_geojson({"type": "Feature", "properties": {"name": "A"},
    ...               "geometry": {"type": "Polygon", "coordinates": [ring]}}).outlines[0].outline
    ((((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)),),)
    """
    reader = _Reader()
    found = tuple(reader.outlines(document))
    if reader.faults:
        raise InputInvalid("the boundaries cannot be read", reader.faults)
    return GeoJson(found, reader.unplaced_count)


class _Reader:
    """One reading of a document, which gathers what is wrong."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.unplaced_count = 0
        self._position_count = 0

    def outlines(self, document: Any) -> Iterator[NamedOutline]:
        kind = document.get("type") if isinstance(document, dict) else None
        if kind not in ("FeatureCollection", "Feature"):
            self._fault("/type", kind, "FeatureCollection, or one Feature")
            return
        self._check_reference_system(document.get("crs"))
        if kind == "Feature":
            yield from self._feature(document, 0, "")
            return
        features = document.get("features")
        if not isinstance(features, list) or not 1 <= len(features) <= MOST_FEATURES:
            count = f"{len(features)} features" if isinstance(features, list) else features
            self._fault("/features", count, f"a list of 1 to {MOST_FEATURES} features")
            return
        for place, feature in enumerate(features):
            if self._is_over():
                return
            yield from self._feature(feature, place, f"/features/{place}")

    def _check_reference_system(self, crs: Any) -> None:
        """The member of GeoJSON before RFC 7946, which many programs still write."""
        if crs is None:
            return
        properties = crs.get("properties") if isinstance(crs, dict) else None
        name = properties.get("name") if isinstance(properties, dict) else crs
        if str(name).upper().rpartition(":")[2] not in _UNPROJECTED:
            self._fault("/crs", name, f"no other reference system than {_DEGREES}: export it so")

    def _feature(self, feature: Any, place: int, where: str) -> Iterator[NamedOutline]:
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            kind = feature.get("type") if isinstance(feature, dict) else feature
            self._fault(f"{where}/type", kind, "Feature")
            return
        geometry = feature.get("geometry")
        if geometry is None:
            self.unplaced_count += 1
            return
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        if kind not in ("Polygon", "MultiPolygon"):
            self._fault(f"{where}/geometry/type", kind, _OUTLINES)
            return
        coordinates = geometry.get("coordinates")
        at = f"{where}/geometry/coordinates"
        count = len(self.faults)
        polygons = [coordinates] if kind == "Polygon" else coordinates
        if not isinstance(polygons, list) or not polygons:
            self._fault(at, polygons, "a list of polygons")
            return
        outline = [
            self._polygon(polygon, at if kind == "Polygon" else f"{at}/{number}")
            for number, polygon in enumerate(polygons)
            if not self._is_over()
        ]
        if len(self.faults) == count:
            yield NamedOutline(place, _names(feature), tuple(outline))

    def _polygon(self, polygon: Any, where: str) -> Polygon:
        if not isinstance(polygon, list) or not polygon:
            self._fault(where, polygon, "a list of rings, the outer one first")
            return ()
        rings = []
        for number, ring in enumerate(polygon):
            read = self._ring(ring, f"{where}/{number}")
            # Section 3.1.6: the outer ring counterclockwise, holes clockwise.
            is_outer = number == 0
            rings.append(read if (signed_area(read) > 0.0) is is_outer else read[::-1])
        return tuple(rings)

    def _ring(self, ring: Any, where: str) -> Ring:
        if self._is_over():
            return ()
        if not isinstance(ring, list) or len(ring) < 4:
            count = f"{len(ring)} positions" if isinstance(ring, list) else ring
            self._fault(where, count, "a list of at least 4 positions, the last like the first")
            return ()
        self._position_count += len(ring)
        if self._position_count > MOST_POSITIONS:
            found = f"more than {MOST_POSITIONS} positions"
            self._fault(where, found, "fewer: simplify the boundaries before they are imported")
            return ()
        positions: list[Position] = []
        for number, given in enumerate(ring):
            position = self._position(given, f"{where}/{number}")
            if position is None:
                return ()
            if not positions or position != positions[-1]:
                positions.append(position)
        if positions[0] != positions[-1]:
            self._fault(f"{where}/{len(ring) - 1}", ring[-1], f"the first position, {ring[0]}")
            return ()
        return self._checked(tuple(positions[:-1]), where)

    def _checked(self, ring: Ring, where: str) -> Ring:
        if len(set(ring)) < 3 or signed_area(ring) == 0.0:
            self._fault(where, "a ring without an area", "at least 3 corners that are not in line")
            return ring
        widest = max(
            abs(one[0] - other[0]) for one, other in zip(ring, ring[1:] + ring[:1], strict=True)
        )
        if widest > 180.0:
            self._fault(
                where,
                f"an edge over {widest:g} degrees of longitude",
                "no edge across the 180th meridian, where maps of counties are not drawn",
            )
        return ring

    def _position(self, given: Any, where: str) -> Position | None:
        if (
            not isinstance(given, list)
            or len(given) < 2
            or not all(_is_number(value) for value in given[:2])
        ):
            self._fault(where, given, f"a position: {_DEGREES}")
            return None
        longitude, latitude = float(given[0]), float(given[1])
        if abs(longitude) <= 180.0 and abs(latitude) <= 90.0:
            return round(longitude, DECIMALS), round(latitude, DECIMALS)
        if abs(longitude) <= 90.0 and abs(latitude) <= 180.0:
            self._fault(where, given, f"{_DEGREES}; these are in the other order")
        elif max(abs(longitude), abs(latitude)) > 360.0:
            self._fault(
                where, given, f"{_DEGREES}; these are of a projection: export it unprojected"
            )
        else:
            self._fault(where, given, f"{_DEGREES}: -180 to 180 and -90 to 90")
        return None

    def _is_over(self) -> bool:
        return len(self.faults) >= MOST_FAULTS or self._position_count > MOST_POSITIONS

    def _fault(self, where: str, found: Any, allowed: str) -> None:
        self.faults.append(Fault(where or "/", shown(found), allowed))


def shown(value: Any) -> str:
    """A value of a document in a message: short and without line ends.

    Shapes: any.
    Returns: at most :data:`LONGEST_SHOWN` characters.

    >>> shown(None), shown("Line\\nString"), len(shown([1] * 999))
    ('nothing', 'Line\\\\nString', 60)
    """
    if value is None:
        return "nothing"
    # A list of a million corners is not written out to be cut.
    short = value[:LONGEST_SHOWN] if isinstance(value, list | str) else value
    text = short if isinstance(short, str) and short.isprintable() else repr(short)
    text = text.strip("'") if isinstance(value, str) else text
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"


def signed_area(ring: Ring) -> float:
    """Area of a ring in its own plane; positive where it turns counterclockwise.

    Shapes: corners of the ring.
    Returns: square of the positions' unit; 0 without corners.
    Equation: half the sum of x_i y_(i+1) - x_(i+1) y_i (the shoelace formula, common knowledge).

    >>> signed_area(((0.0, 0.0), (2.0, 0.0), (2.0, 1.0)))
    1.0
    """
    if not ring:
        return 0.0
    # From the first corner, so that no digits are lost far away from the origin.
    x0, y0 = ring[0]
    return 0.5 * math.fsum(
        (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        for (x1, y1), (x2, y2) in zip(ring, ring[1:] + ring[:1], strict=True)
    )


def _is_number(value: Any) -> bool:
    """A number that is finite: NaN and numbers beyond any coordinate compare as false."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _names(feature: dict[str, Any]) -> dict[str, str]:
    """What may name a feature: its id, and properties that are short text or whole numbers."""
    properties = feature.get("properties")
    given = {"id": feature.get("id"), **(properties if isinstance(properties, dict) else {})}
    return {
        str(key): str(value)
        for key, value in given.items()
        if isinstance(value, str | int) and not isinstance(value, bool) and len(str(value)) <= 200
    }
