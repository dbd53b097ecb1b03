"""Examples of plans and runs of several farms; all invented."""

from __future__ import annotations

from typing import Any, Final

from service.api.examples import FARM_PLANS, PLAN_CSV

PLAN_FEED: Final[dict[str, Any]] = {
    "items": [
        {
            **FARM_PLANS["items"][0],
            "farm_id": FARM_PLANS["farm_id"],
            "day": FARM_PLANS["day"],
            "zone": "America/New_York",
        }
    ],
    "next": "/v1/plans?from=2026-07-15&cursor=MTA0Mg",
    "next_cursor": "MTA0Mg",
    "has_more": False,
}
PLAN_FEED_CSV: Final = PLAN_CSV
RUN_FEED: Final[dict[str, Any]] = {
    "items": [
        {
            "farm_id": "hill-farm",
            "block_id": "hill-farm.north",
            "day": "2026-07-14",
            "zone": "America/New_York",
            "started_at": "2026-07-14T08:00:00Z",
            "started_local": "2026-07-14T04:00:00-04:00",
            "duration_min": 42.0,
            "volume_l": 1550.0,
            "is_volume_booked": True,
            "recorded_at": "2026-07-14T09:05:00Z",
        }
    ],
    "next": "/v1/runs?cursor=MTIuMzQ1",
    "next_cursor": "MTIuMzQ1",
    "has_more": False,
}
RUN_FEED_CSV: Final = (
    "farm_id,block_id,day,zone,started_at,started_local,duration_min,volume_l,is_volume_booked,"
    "recorded_at\r\n"
    "hill-farm,hill-farm.north,2026-07-14,America/New_York,2026-07-14T08:00:00Z,"
    "2026-07-14T04:00:00-04:00,42.0,1550.0,True,2026-07-14T09:05:00Z\r\n"
)
