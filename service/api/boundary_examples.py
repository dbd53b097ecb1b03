"""Boundaries of counties as examples of the OpenAPI document; all are invented."""

from __future__ import annotations

from typing import Any, Final

_RING: Final = [[-79.5, 35.5], [-78.9, 35.5], [-78.9, 36.1], [-79.5, 36.1], [-79.5, 35.5]]
BOUNDARY_FILE: Final[dict[str, Any]] = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "properties": {"GEOID": "37135"},
            "geometry": {"type": "Polygon", "coordinates": [_RING]},
        }
    ],
}
BOUNDARY_IMPORT: Final[dict[str, Any]] = {
    "name_property": "GEOID",
    "counties": ["37135"],
    "without_boundary": ["37001"],
    "unmatched": [],
    "unplaced_count": 0,
    "corner_count": 4,
    "kept_corner_count": 4,
    "is_new": True,
}
BOUNDARIES: Final[dict[str, Any]] = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "id": "37135",
            "properties": {"county_code": "37135", "name": "Orange"},
            "geometry": {"type": "MultiPolygon", "coordinates": [[_RING]]},
        }
    ],
    "source": "Boundaries: your survey, 2024",
    "recorded_at": "2026-07-14T22:00:00Z",
}
