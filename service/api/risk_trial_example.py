"""An example of what weighing the forecast would have done; all of it invented."""

from __future__ import annotations

from typing import Any, Final

RISK_TRIAL: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "risk_attitude": "classic",
    "is_stated": False,
    "is_kept": True,
    "told_on": None,
    "weighs_from": None,
    "first_day": "2026-05-13",
    "last_day": "2026-07-13",
    "day_count": 62,
    "spread_day_count": 62,
    "weighed_day_count": 60,
    "rule": {
        "net_mm": 148.2,
        "drainage_mm": 18.4,
        "lost_et_mm": 0.0,
        "short_day_count": 0,
        "risk_cost_mm": 166.6,
    },
    "weighed": {
        "net_mm": 134.1,
        "drainage_mm": 12.3,
        "lost_et_mm": 0.12,
        "short_day_count": 1,
        "risk_cost_mm": 151.2,
    },
    "days": [
        {
            "day": "2026-07-13",
            "risk_guard": "none",
            "is_dormant": False,
            "rule": {
                "net_mm": 4.31,
                "drainage_mm": 0.0,
                "lost_et_mm": 0.0,
                "depletion_end_mm": 2.24,
                "is_short": False,
            },
            "weighed": {
                "net_mm": 3.1,
                "drainage_mm": 0.0,
                "lost_et_mm": 0.0,
                "depletion_end_mm": 4.05,
                "is_short": False,
            },
        }
    ],
}
CHOSEN: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "risk_attitude": "balanced",
    "is_stated": True,
    "new_plan_count": 1,
}
