"""Examples of ledgers as tables, and of the water that a farm used."""

from __future__ import annotations

from typing import Any, Final

from service.api.examples import BALANCE_DAY

_SHOWN: Final = {name: value for name, value in BALANCE_DAY.items() if name != "flags"}
BALANCE_CSV: Final = (
    f"{','.join(_SHOWN)}\r\n"
    f"{','.join('' if value is None else str(value).lower() for value in _SHOWN.values())}\r\n"
)
WATER_USED: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "first_day": "2026-07-01",
    "last_day": "2026-07-14",
    "supply_id": None,
    "by": ["month"],
    "items": [
        {
            "labels": ["2026-07"],
            "volume_l": 182_116.1,
            "gross_mm": 60.0,
            "metered_volume_l": 91_058.05,
            "reported_volume_l": 30_352.7,
            "assumed_volume_l": 60_705.35,
        }
    ],
    "total": {
        "labels": [],
        "volume_l": 182_116.1,
        "gross_mm": 60.0,
        "metered_volume_l": 91_058.05,
        "reported_volume_l": 30_352.7,
        "assumed_volume_l": 60_705.35,
    },
    "limit_volume_l": 1_233_481.84,
    "left_volume_l": 1_051_365.74,
}
WATER_USED_CSV: Final = (
    "month,volume_l,volume_gal,volume_ac_ft,gross_mm,gross_in,metered_volume_l,reported_volume_l,"
    "assumed_volume_l\r\n"
    "2026-07,182116.1,48109.9,0.14764,60.0,2.362,91058.1,30352.7,60705.4\r\n"
)
FARM_BOARD: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "today": "2026-07-14",
    "first_day": "2026-07-08",
    "items": [
        {
            "block_id": "hill-farm.north",
            "name": "North blueberries",
            "plan_day": "2026-07-15",
            "status": "water",
            "is_dormant": False,
            "available_fraction": 0.62,
            "used_raw_fraction": 0.81,
            "due_day": "2026-07-15",
            "due_in_days": 1,
            "plan_min": 93,
            "planned_min": 280.0,
            "run_min": 265.0,
            "unreported_days_count": 2,
        }
    ],
}
