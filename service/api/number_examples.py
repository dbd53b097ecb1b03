"""Examples of the numbers of a block with their sources, and of soil textures."""

from __future__ import annotations

from typing import Any, Final

BLOCK_NUMBERS: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "day": "2026-07-14",
    "items": [
        {
            "name": "flow_l_per_h",
            "value": 8244.7,
            "unit": "L/h",
            "meaning": "flow of the block, supply or pipe spoken of",
            "kind": "derived",
            "origin": "application rate x area",
        },
        {
            "name": "emission_uniformity_pct",
            "value": 90.0,
            "unit": "%",
            "meaning": "emission uniformity of the block",
            "kind": "default",
            "origin": "design class of ASABE EP405 on level ground, from memory; measure it in the"
            " field",
        },
    ],
}
SOIL_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "texture": "sandy-loam",
            "field_capacity": 0.23,
            "wilting_point": 0.11,
            "saturated_conductivity_mm_per_h": 50.3,
            "grain": "medium",
            "source": "FAO-56 Table 19, middle of the range; conductivity Saxton & Rawls 2006",
        }
    ],
    "next": "/v1/soils?cursor=c2FuZHktbG9hbQ",
    "next_cursor": "c2FuZHktbG9hbQ",
}
