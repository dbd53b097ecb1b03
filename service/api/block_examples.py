"""Example answers of lists of blocks, and parts of an explanation; all of it is invented."""

from __future__ import annotations

from typing import Any, Final

BLOCK_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "block_id": "hill-farm.north",
            "farm_id": "hill-farm",
            "name": "North blueberries",
            "crop_key": "blueberry",
            "site_id": "home",
            "supply_id": "well",
            "area_m2": 3035.142317,
        }
    ],
    "next": "/v1/blocks?page_size=1&cursor=aGlsbC1mYXJtLm5vcnRo",
    "next_cursor": "aGlsbC1mYXJtLm5vcnRo",
}

VALUE_SET_ASIDE: Final[dict[str, Any]] = {
    "day": "2026-07-16",
    "name": "rain_mm",
    "value": 480.0,
    "used": 4.2,
    "source": "open-meteo",
    "kind": "forecast",
    "reason": "cloudburst",
    "text": "more rain than the place ever had, and no gauge or second source has it",
}
BORROWED_SPAN: Final[dict[str, Any]] = {
    "first_day": "2026-07-08",
    "last_day": "2026-07-11",
    "distance_km": 21.4,
    "neighbour_ratio": 1.0231,
    "common_days_count": 18,
}
