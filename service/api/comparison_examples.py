"""Example of a comparison of programs; invented."""

from __future__ import annotations

from typing import Any, Final


def _year(program: str, gross_mm: float, drained_mm: float, days: int) -> dict[str, Any]:
    return {
        "year": 2025,
        "program": program,
        "day_count": 365,
        "season_day_count": 258,
        "known_day_count": 258,
        "gross_mm": gross_mm,
        "volume_m3": gross_mm * 2.4,
        "irrigation_drainage_mm": drained_mm,
        "rain_drainage_mm": 91.2,
        "stress_day_count": days,
        "lost_crop_et_mm": 0.2 * days,
        "water_cost": None,
        "nitrogen_lost_kg_per_ha": None,
    }


COMPARISON: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "items": [
        _year("rule", 1168.0, 522.0, 30),
        _year("weekly", 744.0, 130.0, 5),
        _year("daily", 673.0, 61.0, 2),
        _year("foreseen", 577.0, 0.0, 0),
        {**_year("own", 310.0, 88.0, 4), "day_count": 84, "known_day_count": 84},
    ],
}
