"""An example of the coming week as things are, and without tomorrow's water."""

from __future__ import annotations

from typing import Any, Final

_MM_PER_MIN: Final = 0.046875
_L_PER_MIN: Final = 142.25
"""About those of 0.75 ac with an emitter of 0.5 gph on each 15 ft2 and two lines."""


def _week(*days: tuple[str, float, float, bool]) -> dict[str, Any]:
    """A week of days with their minutes and what is missing at their ends."""
    minutes_of_all = sum(minutes for _, minutes, _, _ in days)
    return {
        "days": [
            {
                "day": day,
                "expected_min": minutes,
                "gross_mm": _MM_PER_MIN * minutes,
                "volume_l": _L_PER_MIN * minutes,
                "drainage_mm": 0.0,
                "depletion_end_mm": missing_mm,
                "trigger_mm": 7.9,
                "raw_mm": 11.3,
                "is_short": is_short,
            }
            for day, minutes, missing_mm, is_short in days
        ],
        "expected_min": minutes_of_all,
        "gross_mm": _MM_PER_MIN * minutes_of_all,
        "volume_l": _L_PER_MIN * minutes_of_all,
        "drainage_mm": 0.0,
        "short_days_count": sum(day[3] for day in days),
        "exceeds_supply": False,
    }


WHAT_IF: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "days": ["2026-07-15", "2026-07-16"],
    "items": [
        {
            "block_id": "hill-farm.north",
            "name": "North blueberries",
            "supply_id": "well",
            "differs": True,
            "now": _week(("2026-07-15", 93.0, 6.7, False), ("2026-07-16", 96.0, 6.9, False)),
            "changed": _week(("2026-07-15", 0.0, 11.6, True), ("2026-07-16", 205.0, 6.9, False)),
        }
    ],
}
