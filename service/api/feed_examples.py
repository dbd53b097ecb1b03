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
            "is_undone": False,
        }
    ],
    "next": "/v1/runs?cursor=MTIuMzQ1",
    "next_cursor": "MTIuMzQ1",
    "has_more": False,
}
RUN_FEED_CSV: Final = (
    "farm_id,block_id,day,zone,started_at,started_local,duration_min,volume_l,is_volume_booked,"
    "recorded_at,is_undone\r\n"
    "hill-farm,hill-farm.north,2026-07-14,America/New_York,2026-07-14T08:00:00Z,"
    "2026-07-14T04:00:00-04:00,42.0,1550.0,true,2026-07-14T09:05:00Z,false\r\n"
)
RUN_PAGE: Final[dict[str, Any]] = {
    "items": RUN_FEED["items"],
    "next": "/v1/farms/hill-farm/runs?cursor=MTc4NDAxNjAwMDAwMDAwMC4zNDU",
    "next_cursor": "MTc4NDAxNjAwMDAwMDAwMC4zNDU",
}
RUN_FILE_CSV: Final = (
    "block,start,duration_min,volume_gal\r\n"
    "hill-farm.north,2026-07-14T04:00,73,3033\r\n"
    "hill-farm.north,2026-07-14T07:30-04:00,40,\r\n"
)
RUN_FILE_DONE: Final[dict[str, Any]] = {
    "counts": {"created_count": 2, "changed_count": 0, "unchanged_count": 0, "new_plan_count": 1},
    "flow": [],
    "notes": ["1 repeated line with equal values"],
}
RUN_UNDONE: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "started_at": "2026-07-14T08:00:00Z",
    "new_plan_count": 1,
}
