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
            "observed_until": "2026-07-13",
            "measured_until": {
                "temperature": "2026-07-13",
                "humidity": "2026-07-13",
                "wind": "2026-07-13",
                "radiation": "2026-07-13",
                "rain": "2026-07-14",
            },
            "forecast_until": "2026-07-21",
            "forecast_issued_at": "2026-07-14T12:00:00Z",
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
WEATHER_PAGE: Final[dict[str, Any]] = {
    "items": [
        {
            "day": "2026-07-14",
            "values": [
                {"name": "tmax_c", "value": 32.4, "flags": []},
                {"name": "et0_mm", "value": 5.1, "flags": []},
            ],
            "origins": [
                {
                    "source": "import",
                    "kind": "observed",
                    "issued_at": "2026-07-15T06:00:00Z",
                    "attribution": None,
                    "name": "tmax_c",
                    "fetched_at": "2026-07-15T06:00:00Z",
                    "hours_present": 24.0,
                    "estimated_from": None,
                }
            ],
            "rests_on": "measured",
        }
    ],
    "next": "/v1/sites/hill/weather-days?page_size=1&cursor=MjAyNi0wNy0xNA",
    "next_cursor": "MjAyNi0wNy0xNA",
}
WEATHER_CSV: Final = (
    "day,rests_on,tmax_c,tmin_c,ea_kpa,rhmin_pct,u2_m_s,rs_mj_m2,rain_mm,"
    "rain_probability_fraction,et0_mm,sources\r\n"
    "2026-07-14,measured,32.4,19.8,2.3,48.0,1.6,22.0,0.0,,5.1,"
    "import observed of 2026-07-15T06:00Z: tmax_c tmin_c rhmax_pct rhmin_pct wind_m_s rs_mj_m2"
    " rain_mm\r\n"
)
