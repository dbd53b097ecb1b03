"""Example of a comparison of programs: an invented block in a season of real weather.

The programs are those of the mature berries of ``tests/validation/test_rule_of_thumb.py``, which
holds these figures to what a comparison gives; what was run is invented.
"""

from __future__ import annotations

from typing import Any, Final

WATER_PRICE_PER_M3: Final = 0.40
NITROGEN_KG_PER_HA: Final = 80.0


def _figures(
    program: str,
    gross_mm: float,
    drained_mm: tuple[float, float],
    stress: tuple[int, float],
    nitrogen_kg_per_ha: float,
) -> dict[str, Any]:
    """Drainage of irrigation and of rain; days of stress and the water that the crop lacked."""
    volume_m3 = round(4.0 * gross_mm, 1)  # 0.4 ha
    return {
        "program": program,
        "day_count": 214,
        "season_day_count": 214,
        "known_day_count": 214,
        "gross_mm": gross_mm,
        "volume_m3": volume_m3,
        "irrigation_drainage_mm": drained_mm[0],
        "rain_drainage_mm": drained_mm[1],
        "stress_day_count": stress[0],
        "lost_crop_et_mm": stress[1],
        "water_cost": round(WATER_PRICE_PER_M3 * volume_m3, 1),
        "nitrogen_lost_kg_per_ha": nitrogen_kg_per_ha,
    }


_PROGRAMS: Final = (
    _figures("rule", 1168.2, (522.5, 79.7), (1, 0.0), 38.7),
    _figures("weekly", 743.2, (124.1, 96.6), (5, 1.1), 20.3),
    _figures("daily", 672.6, (60.9, 95.5), (2, 0.3), 14.7),
    _figures("foreseen", 576.5, (0.0, 70.8), (0, 0.0), 6.9),
)
_RUN: Final = _figures("own", 310.0, (88.0, 41.0), (4, 0.8), 9.5)

COMPARISON: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "items": [
        *({**each, "year": 2025} for each in _PROGRAMS),
        {**_RUN, "year": 2025, "day_count": 84, "known_day_count": 84},
    ],
    "totals": list(_PROGRAMS),
}
