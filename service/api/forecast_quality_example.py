"""An example of how good the forecasts at a site were."""

from __future__ import annotations

from typing import Any, Final

FORECAST_QUALITY: Final[dict[str, Any]] = {
    "site_id": "hill",
    "first_day": "2026-03-02",
    "moved_on": None,
    "sources": [
        {
            "source": "open-meteo",
            "is_in_use": True,
            "first_day": "2026-03-03",
            "last_day": "2026-07-14",
            "rain_truth": "measured",
            "et0_truth": "own-model",
            "flags": ["gaps"],
            "missing_forecast_day_count": 2,
            "missing_observed_day_count": 5,
            "unit_changed_on": None,
            "last_useful_rain_lead_days": 4,
            "last_useful_et0_lead_days": 5,
            "leads": [
                {
                    "lead_days": 1,
                    "rain": {
                        "pair_count": 127,
                        "bias_mm": 0.42,
                        "mae_mm": 2.1,
                        "crps_mm": 1.36,
                        "climatology_crps_mm": 2.05,
                        "skill_ratio": 0.3366,
                        "coverage_fraction": 0.78,
                        "band_count": 127,
                        "half_coverage_fraction": None,
                        "most_coverage_fraction": None,
                    },
                    "chance": {
                        "pair_count": 127,
                        "brier": 0.121,
                        "reliability": 0.011,
                        "resolution": 0.102,
                        "uncertainty": 0.211,
                        "skill_ratio": 0.43,
                        "right_fraction": 0.84,
                        "classes": [
                            {
                                "class_issued_fraction": 0.71,
                                "class_observed_fraction": 0.8,
                                "class_count": 25,
                            }
                        ],
                    },
                    "et0": {
                        "pair_count": 127,
                        "bias_mm": -0.11,
                        "mae_mm": 0.52,
                        "crps_mm": 0.39,
                        "climatology_crps_mm": 0.61,
                        "skill_ratio": 0.3607,
                        "coverage_fraction": 0.81,
                        "band_count": 127,
                        "half_coverage_fraction": None,
                        "most_coverage_fraction": None,
                    },
                }
            ],
        }
    ],
}
