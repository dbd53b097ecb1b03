"""Example bodies and answers for changes and for counties; all invented."""

from __future__ import annotations

from typing import Any, Final

_COUNTS: Final[dict[str, Any]] = {
    "created_count": 1,
    "changed_count": 0,
    "unchanged_count": 0,
    "new_plan_count": 1,
}
RUNS: Final[dict[str, Any]] = {
    "items": [
        {
            "block_id": "hill-farm.north",
            "started_at": "2026-07-14T04:00:00-04:00",
            "duration_min": 73,
            "volume_l": 11480,
        }
    ]
}
FLOW: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "run_count": 1,
    "duration_min": 73.0,
    "volume_l": 11480.0,
    "expected_volume_l": 10030.3,
    "flow_ratio": 1.144532,
    "band_fraction": 0.1,
    "verdict": "leak-suspected",
    "questioned_count": 0,
    "limit": "emitters",
    "least_l_per_h": 4122.041,
    "most_l_per_h": 12366.123,
}
RATE: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "run_count": 20,
    "first_day": "2026-06-08",
    "last_day": "2026-07-13",
    "rate_ratio": 1.152,
    "error_fraction": 0.031,
    "emitter_flow_l_per_h": 1.892706,
    "stated_l_per_h": 1.892706,
    "offered_l_per_h": 2.1804,
    "reason": "The meter shows another rate than the emitter flow of the block.",
    "new_plan_count": 0,
}
RATE_USED: Final[dict[str, Any]] = {
    **RATE,
    "rate_ratio": 1.0,
    "emitter_flow_l_per_h": 2.1804,
    "offered_l_per_h": None,
    "reason": "The meter agrees with the emitter flow of the block, within its spread.",
    "new_plan_count": 1,
}
RUNS_DONE: Final[dict[str, Any]] = {"counts": _COUNTS, "flow": [FLOW]}
RAIN: Final[dict[str, Any]] = {"rain_mm": 8.5, "read_at": "2026-07-14T07:00:00-04:00"}
RAIN_DONE: Final[dict[str, Any]] = {
    "site_id": "home",
    "farm_id": "hill-farm",
    "read_at": "2026-07-14T11:00:00Z",
    "covers_from": "2026-07-13T11:00:00Z",
    "rain_mm": 8.5,
    "kind": "measured",
    "booked": [{"day": "2026-07-13", "rain_mm": 8.5, "day_total_mm": 8.5}],
    "rule": "all of it to the day that most of its time lies in",
    "counts": _COUNTS,
}
SOIL: Final[dict[str, Any]] = {
    "read_at": "2026-07-14T06:30:00-04:00",
    "depth_m": 0.25,
    "volumetric_water": 0.19,
}
SOIL_DONE: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "day": "2026-07-14",
    "compared_with": "day-start",
    "kind": "volumetric",
    "volumetric_water": 0.19,
    "depletion_reading_mm": 9.3,
    "weight_fraction": 0.35,
    "taw_mm": 27.9,
    "counts": _COUNTS,
}
OBSERVATIONS: Final[dict[str, Any]] = {
    "items": [
        {
            "block_id": "hill-farm.north",
            "observed_property": "tension_kpa",
            "at": "2026-07-14T05:00:00-04:00",
            "result": 24.0,
            "depth_m": 0.3,
        },
        {
            "block_id": "hill-farm.north",
            "observed_property": "water_volume_l",
            "at": "2026-07-14T05:30:00-04:00",
            "until": "2026-07-14T06:10:00-04:00",
            "result": 9400.0,
        },
    ]
}
OBSERVATIONS_CSV: Final = (
    "block_id,observed_property,at,until,result,depth_m\r\n"
    "hill-farm.north,tension_kpa,2026-07-14T05:00:00-04:00,,24.0,0.3\r\n"
    "hill-farm.north,water_volume_l,2026-07-14T05:30:00-04:00,2026-07-14T06:10:00-04:00,9400.0,\r\n"
)
OBSERVATIONS_DONE: Final[dict[str, Any]] = {
    "stored_count": 2,
    "refused_count": 0,
    "counts": _COUNTS,
    "lines": [{"line": 1, "status": "stored"}, {"line": 2, "status": "stored"}],
}
PAUSE: Final[dict[str, Any]] = {
    "starts_local": "2026-07-15T06:00",
    "ends_local": "2026-07-15T18:00",
    "reason": "spraying",
}
_PAUSE: Final[dict[str, Any]] = {
    "pause_id": "5f0c2f9e1d3b4a58",
    "block_id": "hill-farm.north",
    "starts_local": "2026-07-15T06:00:00",
    "ends_local": "2026-07-15T18:00:00",
    "reason": "spraying",
    "reporter": "Ann (k3Jd92Lm)",
}
PAUSED: Final[dict[str, Any]] = {"pause": _PAUSE, "new_plan_count": 1}
PAUSES: Final[dict[str, Any]] = {"items": [_PAUSE]}
PAUSE_CANCELLED: Final[dict[str, Any]] = {"pause_id": "5f0c2f9e1d3b4a58", "new_plan_count": 1}
TIMER_PROGRAM: Final[dict[str, Any]] = {
    "program_id": "0c4f2f9e1d3b4a58",
    "set_from": "2026-07-15",
}
_OFFERED: Final[dict[str, Any]] = {
    "program_id": "0c4f2f9e1d3b4a58",
    "first_day": "2026-07-15",
    "is_off": False,
    "weekdays": [1, 3, 5, 6],
    "interval_days": None,
    "starts": ["04:00", "07:00"],
    "run_min": 35.0,
    "minutes_a_week": 280.0,
    "is_early": False,
    "excess_mm": 0.0,
    "drainage_mm": 0.3,
    "depletion_end_mm": 6.1,
    "normal_day_count": 0,
    "earlier_year_count": 0,
    "set_from": None,
    "set_at": None,
    "reporter": "",
}
_TIMER: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "set_weekday": 3,
    "set_program": None,
    "to_set": _OFFERED,
}
TIMERS: Final[dict[str, Any]] = {"items": [_TIMER]}
TIMER_SET: Final[dict[str, Any]] = {
    "timer": {
        **_TIMER,
        "set_program": {
            **_OFFERED,
            "set_from": "2026-07-15",
            "set_at": "2026-07-14T23:05:00Z",
            "reporter": "Ann (k3Jd92Lm)",
        },
        "to_set": None,
    },
    "new_plan_count": 1,
}
BLOCK_TABLE: Final[dict[str, Any]] = {
    "id": "north",
    "name": "North blueberries",
    "supply": "well",
    "site": "home",
    "crop": "blueberry",
    "area": "0.75 ac",
    "row_spacing": "10 ft",
    "emitter_spacing": "18 in",
    "emitter_flow": "0.5 gph",
    "laterals_per_row": 2,
    "soil": {"texture": "sandy loam"},
    "season": {"start": "03-20", "lengths": [25, 45, 110, 50]},
}
FARM_DOCUMENT: Final[dict[str, Any]] = {
    "farm": {"id": "hill-farm", "name": "Hill Farm (invented)", "zone": "America/New_York"},
    "site": [{"id": "home", "latitude": 35.91, "longitude": -79.22, "elevation": "510 ft"}],
    "supply": [{"id": "well", "flow": "40 gpm"}],
    "block": [BLOCK_TABLE],
    "controller": [],
}
FARM_CHANGED: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "counts": {**_COUNTS, "created_count": 0, "changed_count": 1, "unchanged_count": 3},
    "retired_count": 0,
    "questions": [],
}
FARM_FILE: Final = """\
[farm]
id = "hill-farm"
name = "Hill Farm (invented)"
zone = "America/New_York"
"""
COUNTY_NEED: Final[dict[str, Any]] = {
    "issued_at": "2026-07-06T12:00:00Z",
    "reference": {
        "block_id": None,
        "crop_key": "blueberry",
        "row_spacing_m": 3.048,
        "emitter_spacing_m": 0.4572,
        "emitter_flow_l_per_h": 1.892706,
        "laterals_per_row_count": 1.0,
        "season_start": "03-20",
        "stage_lengths_day": [25.0, 45.0, 110.0, 50.0],
        "season_is_estimate": True,
        "season_origin": "estimate: common practice in the south-east of the United States, no"
        " source; local dates are better",
    },
    "items": [
        {
            "week": "2026-W27",
            "first_day": "2026-06-29",
            "last_day": "2026-07-05",
            "county_code": "99001",
            "name": "Made-up County (invented)",
            "rank": 1,
            "reference_et_mm": 35.2,
            "percent_of_normal": 104.1,
            "crop_et_mm": 36.9,
            "rain_mm": 12.0,
            "rain_entering_mm": 8.1,
            "net_need": {
                "depth_mm": 28.8,
                "inches": 1.1339,
                "gallons_per_acre": 30789.0,
                "cubic_metres_per_hectare": 288.0,
            },
            "gross_need": {
                "depth_mm": 32.0,
                "inches": 1.2598,
                "gallons_per_acre": 34210.0,
                "cubic_metres_per_hectare": 320.0,
            },
            "running_h": 23.56,
            "forecast_day_count": 0,
            "observed_until": "2026-07-05",
            "data_age_days": 1,
            "rain_observed_until": "2026-07-05",
            "site_id": "hill",
            "rests_on": "measured",
            "days_measured": 7,
            "days_forecast": 0,
            "days_stand_in": 0,
            "days_unknown": 0,
            "forecast_issued_at": None,
            "sources": [
                {
                    "source": "station",
                    "kind": "observed",
                    "days": 7,
                    "issued_at": "2026-07-06T05:00:00Z",
                }
            ],
            "normal_reference_et_mm": 33.8,
            "normal_net_need_mm": 35.5,
            "net_need_p10_mm": None,
            "net_need_p50_mm": None,
            "net_need_p90_mm": None,
            "why_null": [
                {"field": "forecast_issued_at", "reason": "no day rests on a forecast"},
                {"field": "net_need_p10_mm", "reason": "every day is measured"},
                {"field": "net_need_p50_mm", "reason": "every day is measured"},
                {"field": "net_need_p90_mm", "reason": "every day is measured"},
            ],
        }
    ],
}
COUNTY_NEED_CSV: Final = (
    "week,first_day,last_day,county_code,name,rank,reference_et_mm,percent_of_normal,crop_et_mm,"
    "rain_mm,rain_entering_mm,running_h,forecast_day_count,observed_until,data_age_days,"
    "net_need_depth_mm,net_need_inches,net_need_gallons_per_acre,"
    "net_need_cubic_metres_per_hectare,gross_need_depth_mm,gross_need_inches,"
    "gross_need_gallons_per_acre,gross_need_cubic_metres_per_hectare,rain_observed_until,"
    "site_id,rests_on,days_measured,days_forecast,days_stand_in,days_unknown,forecast_issued_at,"
    "sources,normal_reference_et_mm,normal_net_need_mm,net_need_p10_mm,net_need_p50_mm,"
    "net_need_p90_mm,why_null\r\n"
    "2026-W27,2026-06-29,2026-07-05,99001,Made-up County (invented),1,35.2,104.1,36.9,12.0,8.1,"
    "23.56,0,2026-07-05,1,28.8,1.1339,30789.0,288.0,32.0,1.2598,34210.0,320.0,"
    "2026-07-05,hill,measured,7,0,0,0,,station observed 7 d of 2026-07-06T05:00Z,33.8,35.5,,,,"
    "forecast_issued_at: no day rests on a forecast; net_need_p10_mm: every day is measured;"
    " net_need_p50_mm: every day is measured; net_need_p90_mm: every day is measured\r\n"
)
