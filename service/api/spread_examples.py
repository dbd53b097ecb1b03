"""Example answers on how sure a plan is; all numbers are invented."""

from __future__ import annotations

from typing import Any, Final

_RAIN_BAND: Final = {"p10": 0.0, "p50": 0.0, "p90": 2.4}
OUTLOOK: Final[list[dict[str, Any]]] = [
    {
        "day": "2026-07-15",
        "expected_min": 218.0,
        "depletion_end_mm": 23.585,
        "et0_mm": 4.6961,
        "rain_mm": 0.0,
        "expected_band_min": {"p10": 218.0, "p50": 218.0, "p90": 218.0},
        "depletion_band_mm": {"p10": 20.2, "p50": 23.6, "p90": 25.9},
        "rain_band_mm": _RAIN_BAND,
    },
    {
        "day": "2026-07-16",
        "expected_min": 300.0,
        "depletion_end_mm": 15.818,
        "et0_mm": 4.3389,
        "rain_mm": 0.0,
        "expected_band_min": {"p10": 220.0, "p50": 296.0, "p90": 360.0},
        "depletion_band_mm": {"p10": 9.5, "p50": 15.8, "p90": 17.4},
        "rain_band_mm": _RAIN_BAND,
    },
]
SPREAD: Final[dict[str, Any]] = {
    "member_count": 31,
    "models": "ncep_gefs_seamless",
    "rain_band_mm": _RAIN_BAND,
    "rain_counts_fraction": 0.226,
    "short_tomorrow_fraction": 0.871,
    "short_horizon_fraction": 1.0,
}
HINDSIGHT: Final[dict[str, Any]] = {
    "day": "2026-07-13",
    "rain_mm": 6.1,
    "planned_min": 120,
    "needed_min": 96.4,
    "not_needed_min": 23.6,
    "lacking_min": 0.0,
    "is_news": True,
}
