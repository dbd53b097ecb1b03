"""Examples of lists."""

from __future__ import annotations

from typing import Any, Final

FARM_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "farm_id": "hill-farm",
            "name": "Hill Farm",
            "zone": "America/New_York",
            "unit_system": "us",
        }
    ],
    "next": None,
    "next_cursor": None,
}
SITE_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "site_id": "hill",
            "name": "Hill",
            "latitude_deg": 35.91,
            "longitude_deg": -79.22,
            "elevation_m": 155.4,
            "zone": "America/New_York",
            "coverage": [
                {"kind": "forecast", "first_day": "2026-07-14", "last_day": "2026-07-21"},
                {"kind": "observed", "first_day": "2026-01-01", "last_day": "2026-07-13"},
            ],
        }
    ],
    "next": None,
    "next_cursor": None,
}
COUNTY_PAGE: Final[dict[str, Any]] = {
    "items": [{"county_code": "37135", "name": "Orange", "site_id": "hill"}],
    "next": None,
    "next_cursor": None,
}
CROP_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "crop_key": "blueberry",
            "name": "Blueberry",
            "kc_initial": 0.3,
            "kc_mid": 1.05,
            "kc_end": 0.5,
            "kc_off_season": 0.2,
            "height_m": 1.5,
            "root_depth_low_m": 0.6,
            "root_depth_high_m": 1.2,
            "depletion_fraction": 0.5,
            "years_to_full_size": 5,
            "is_evergreen": False,
            "stage_lengths_day": [25, 45, 110, 50],
            "season_start": "03-20",
            "is_season_estimated": True,
            "kc_source": "FAO-56 (1998) Table 12, p. 112, 'Berries (bushes)'; the crop has no row "
            "of its own",
            "off_season_source": "choice, no source",
            "root_source": "FAO-56 (1998) Table 22, p. 165, 'Berries (bushes)'",
            "season_source": "common practice in the south-east of the United States, no source",
        }
    ],
    "next": "/v1/crops?cursor=Ymx1ZWJlcnJ5",
    "next_cursor": "Ymx1ZWJlcnJ5",
}
CONTROLLER_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "controller_id": "hill-farm.shed",
            "farm_id": "hill-farm",
            "name": "Pump shed",
            "policy": "fallback",
            "channels": [
                {
                    "channel": 1,
                    "block_id": "hill-farm.north",
                    "fallback": [{"start_local": "05:30", "duration_min": 40}],
                }
            ],
            "retired_at": None,
        }
    ],
    "next": None,
    "next_cursor": None,
}
