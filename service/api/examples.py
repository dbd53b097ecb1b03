"""Example answers for the documentation; farm, weather and numbers are invented."""

from __future__ import annotations

from typing import Any, Final

import orjson

from service.api.block_examples import BORROWED_SPAN, VALUE_SET_ASIDE
from service.api.spread_examples import HINDSIGHT, OUTLOOK, SPREAD
from service.operations.evening.publish_programs import csv_body, json_body, render_program
from service.records.controllers import ChannelDefinition, ControllerDefinition, FallbackRun
from service.records.ledger import ALLEY_NUMBERS

_WEATHER = ["tmax_c", "tmin_c", "rhmax_pct", "rhmin_pct", "wind_m_s", "rs_mj_m2", "rain_mm"]
BLOCK: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "farm_id": "hill-farm",
    "name": "North blueberries",
    "crop_key": "blueberry",
    "site_id": "home",
    "supply_id": "well",
    "balance_start": "2026-06-10",
    "curve": {
        "basis": "days",
        "season_start": "03-20",
        "stage_ends": [25.0, 70.0, 180.0, 230.0],
        "degree_day_floor_c": None,
        "points": [],
    },
    "windows": [{"opens_local": "04:00", "closes_local": "10:00"}],
    "timer": None,
    "visits": [],
    "no_water": [
        {
            "starts_local": "2026-08-20T00:00:00",
            "ends_local": "2026-08-23T00:00:00",
            "reason": "harvest",
        }
    ],
    "area_m2": 3035.142317,
    "row_spacing_m": 3.048,
    "emitter_spacing_m": 0.4572,
    "laterals_per_row_count": 2.0,
    "emitter_flow_l_per_h": 1.892706,
    "emission_uniformity_pct": 90.0,
    "fill_time_min": 3.0,
    "longest_pulse_min": 240.0,
    "daily_maximum_min": 1440.0,
    "daily_pulse_count": 12.0,
    "priority": 5.0,
    "news_fraction": 0.1,
    "news_depth_mm": 0.5,
    "ground_kc": 0.15,
    "off_ratio": 2.0,
    "valve_gap_s": 0.0,
    **dict.fromkeys(("leaching_fraction", "leakage_fraction"), 0.0),
    "transmission_ratio": 1.0,
    "trigger_fraction": 0.7,
    "rain_room_fraction": 0.3,
    "freeze_hold_c": 0.0,
    "risk_attitude": "balanced",
    "alley_root_fraction": 0.0,
    "watering_start_doy": 65,
    "watering_end_doy": 322,
    "field_capacity": 0.23,
    "wilting_point": 0.11,
    "saturated_conductivity_mm_per_h": 50.304555,
    "grain": "medium",
    "curve_number": None,
    "wetted_fraction": 0.510854,
    "root_depth_m": 0.4572,
    "root_depth_is_scaled": False,
    "root_share_of_wetted": 1.0,
    "canopy_cover_fraction": 0.6,
    "canopy_height_m": 1.5,
    **dict.fromkeys(("root_share_is_scaled", "canopy_is_scaled", "canopy_height_is_scaled"), True),
    **dict.fromkeys(("canopy_measured_year", "full_cover_fraction", "full_height_m")),
    "planting_year": 2019,
    "years_to_full_size": 5.0,
    "mulch_cover_fraction": 0.0,
    "mulch_rain_pass_fraction": 1.0,
    "mulch_kc_initial": 0.3,
    "mulch_kc_reduction_fraction": 0.0,
    "kc_initial": 0.3,
    "kc_mid": 1.05,
    "kc_end": 0.5,
    "kc_off_season": 0.2,
    "table_height_m": 1.5,
    "reference_canopy_ratio": 0.815193,
    "canopy_density_factor": 1.5,
    "depletion_fraction": 0.5,
    "initial_depletion_mm": 5.0,
    "last_nitrogen_doy": None,
    "origins": {
        "area_m2": "given",
        "curve_number": "not given: no runoff is computed",
        "field_capacity": "texture sandy-loam: FAO-56 Table 19, middle of the range; "
        "conductivity Saxton & Rawls 2006",
    },
}

PLAN: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "block_name": "North blueberries",
    "farm_id": "hill-farm",
    "day": "2026-07-15",
    "zone": "America/New_York",
    "version": 1,
    "issued_at": "2026-07-14T23:00:00Z",
    "status": "water",
    "summary": "The crop will use 4.8 mm; depletion would reach 32.5 mm, beyond the 9.9 mm from "
    "which on water is given.",
    "pulses": [
        {
            "start_local": "2026-07-15T04:00:00-04:00",
            "end_local": "2026-07-15T05:13:00-04:00",
            "start_epoch_s": 1784102400,
            "end_epoch_s": 1784106780,
            "duration_min": 73,
        },
        {
            "start_local": "2026-07-15T08:08:00-04:00",
            "end_local": "2026-07-15T09:21:00-04:00",
            "start_epoch_s": 1784117280,
            "end_epoch_s": 1784121660,
            "duration_min": 73,
        },
        {
            "start_local": "2026-07-15T19:48:00-04:00",
            "end_local": "2026-07-15T21:00:00-04:00",
            "start_epoch_s": 1784159280,
            "end_epoch_s": 1784163600,
            "duration_min": 72,
        },
    ],
    "pulse_count": 3,
    "planned_min": 218,
    "gross_mm": 9.869546,
    "net_mm": 8.882592,
    "volume_l": 29955.477612,
    "need_mm": 28.20363,
    "deferred_mm": 19.321038,
    "shortfall_mm": 9.372582,
    "crop_et_mm": 4.823085,
    "cause": {"name": "windows", "text": "the allowed hours are too short"},
    "flags": [
        {
            "name": "cannot-keep-up",
            "text": "Even if everything that can run does run, the block is expected to run short "
            "in the coming week.",
        },
        {"name": "afternoon-stress", "text": "A day ended beyond the readily available water."},
    ],
    "cautions": [],
    "settled_day": "2026-07-13",
    "unwatered_until_day": "2026-07-15",
    "taken_full_day": None,
    "weather_age_h": 0.0,
    "weather_sources": [
        {
            "source": "import",
            "kind": "forecast",
            "issued_at": "2026-07-14T23:00:00Z",
            "attribution": None,
            "age_h": 0.0,
            "quantities": _WEATHER,
        }
    ],
    "outlook": OUTLOOK,
    "spread": SPREAD,
    "spread_missing": None,
    "injection": None,
}

BALANCE_DAY: Final[dict[str, Any]] = {
    "day": "2026-07-13",
    "is_observed": True,
    "irrigation_origin": "none",
    "flags": [],
    "et0_mm": 5.583087,
    "rain_mm": 0.0,
    "rain_entering_mm": 0.0,
    "rain_drainage_mm": 0.0,
    "crop_coefficient": 1.027081,
    "crop_et_mm": 5.734282,
    "stress_ratio": 0.06689,
    "actual_crop_et_mm": 0.383566,
    "irrigation_gross_mm": 0.0,
    "early_net_mm": 0.0,
    "day_net_mm": 0.0,
    "nonuniformity_loss_mm": 0.0,
    "unrooted_loss_mm": 0.0,
    "irrigation_drainage_mm": 0.0,
    "resize_mm": 0.0,
    "correction_mm": 0.0,
    "taw_mm": 28.027482,
    "raw_mm": 13.190538,
    "depletion_start_mm": 27.03504,
    "depletion_end_mm": 27.418606,
    **dict.fromkeys(("degree_day_sum_c_day", *ALLEY_NUMBERS)),
    "trigger_mm": 9.892904,
}

EXPLANATION: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "day": "2026-07-15",
    "version": 1,
    "issued_at": "2026-07-14T23:00:00Z",
    "summary": "The crop will use 4.8 mm; depletion would reach 32.5 mm, beyond the 9.9 mm from "
    "which on water is given.",
    "steps": [
        {
            "name": "et0_mm",
            "label": "Reference ET",
            "value": 4.6961,
            "unit": "mm",
            "worked": "[0.408 Δ Rn + γ 900 / (T + 273) u2 (es - ea)] / [Δ + γ (1 + 0.34 u2)]",
            "source": "FAO-56 Eq. 6",
        },
        {
            "name": "crop_et_mm",
            "label": "Crop water use of the day",
            "value": 4.823085,
            "unit": "mm",
            "worked": "Kc x ET0 = 1.027 x 4.70",
            "source": "FAO-56 Eq. 58",
        },
        {
            "name": "planned_min",
            "label": "Minutes planned",
            "value": 218.0,
            "unit": "min",
            "worked": "3 pulses within the windows and the block's share of the supply",
            "source": "this service's model, [CHOICE]",
        },
    ],
    "weekly_no_water": [],
    "ledger": [BALANCE_DAY],
    "metered": [],
    "hindsight": HINDSIGHT,
    "borrowed_reference_et": [BORROWED_SPAN],
    "set_aside": [VALUE_SET_ASIDE],
    "weather": [
        {
            "day": "2026-07-15",
            "values": [
                {
                    "name": "tmax_c",
                    "value": 30.1741,
                    "flags": [{"name": "forecast", "text": "The value is a forecast."}],
                },
                {
                    "name": "rain_probability_fraction",
                    "value": 1.0,
                    "flags": [
                        {
                            "name": "assumed-certain",
                            "text": "No chance of rain was given; the amount is taken as certain.",
                        },
                    ],
                },
                {"name": "et0_mm", "value": 4.6961, "flags": []},
            ],
            "origins": [
                {
                    "source": "import",
                    "kind": "forecast",
                    "issued_at": "2026-07-14T23:00:00Z",
                    "attribution": None,
                    "name": "tmax_c",
                    "fetched_at": "2026-07-14T23:00:00Z",
                    "hours_present": None,
                    "estimated_from": None,
                }
            ],
        }
    ],
}

BALANCE: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "first_day": "2026-07-13",
    "last_day": "2026-07-13",
    "items": [BALANCE_DAY],
}

STATUS: Final[dict[str, Any]] = {
    "status": "warn",
    "checked_at": "2026-07-14T23:05:00Z",
    "findings": ["weather is old or ends too soon: hill"],
    "scheduler": {"last_tick_at": "2026-07-14T23:04:40Z", "verdict": "pass"},
    "queues": [
        {"job": "evening", "due_count": 0},
        {"job": "repair", "due_count": 0},
        {"job": "weather", "due_count": 1},
        {"job": "prune", "due_count": 0},
    ],
    "farms": [
        {
            "farm_id": "hill-farm",
            "next_due_at": "2026-07-15T22:15:00Z",
            "is_overdue": False,
            "last_run": {
                "run_key": "evening:hill-farm:2026-07-14",
                "due_at": "2026-07-14T22:15:00Z",
                "state": "done",
                "outcome": "planned",
                "attempt_count": 1,
                "changed_at": "2026-07-14T22:15:21Z",
            },
        }
    ],
    "sites": [
        {
            "site_id": "hill",
            "is_stale": True,
            "last_observed_day": "2026-07-10",
            "measured_until": dict.fromkeys(("temperature", "humidity", "wind"), "2026-07-10")
            | {"radiation": None, "rain": "2026-07-13"},
            "observed_age_h": 91.08,
            "forecast_issued_at": "2026-07-14T21:15:00Z",
            "forecast_age_h": 1.83,
            "forecast_until_day": "2026-07-21",
        }
    ],
    "breakers": [
        {
            "key": "weather-service|api.weather.example",
            "state": "closed",
            "open_until": None,
            "failure_count": 2,
            "last_reason": "timeout",
        }
    ],
}

_EXAMPLE_JSON, _EXAMPLE_CSV = render_program(
    ControllerDefinition(
        controller_id="hill-farm.shed",
        farm_id="hill-farm",
        name="Pump shed",
        channels=(
            ChannelDefinition(
                channel=1, block_id="hill-farm.north", fallback=(FallbackRun(330, 40),)
            ),
            ChannelDefinition(channel=2, block_id="hill-farm.south"),
        ),
    ),
    [
        (
            1,
            "run",
            180,
            [(1784106000, "2026-07-15T05:00", 40), (1784110800, "2026-07-15T06:20", 40)],
        ),
        (2, "hold", 240, []),
    ],
    version=42,
    issued_epoch_s=1784070000,
    valid_epoch_s=(1784001600, 1784174400),
    zone="America/New_York",
)
PROGRAM: Final[dict[str, Any]] = orjson.loads(json_body(_EXAMPLE_JSON, 1784073600))
PROGRAM_CSV: Final = csv_body(_EXAMPLE_CSV, 1784073600).decode()

FARM_PLANS: Final[dict[str, Any]] = {
    "farm_id": "hill-farm",
    "day": "2026-07-15",
    "items": [
        {
            "block_id": "hill-farm.north",
            "block_name": "North blueberries",
            "version": 1,
            "issued_at": "2026-07-14T23:00:00Z",
            "status": "water",
            "pulses": [
                {
                    "start_local": "2026-07-15T05:00:00-04:00",
                    "end_local": "2026-07-15T05:40:00-04:00",
                    "start_epoch_s": 1784106000,
                    "end_epoch_s": 1784108400,
                    "duration_min": 40,
                }
            ],
            "planned_min": 40,
            "gross_mm": 1.81,
            "net_mm": 1.63,
            "volume_l": 5490.0,
            "flags": [],
        }
    ],
}
PLAN_CSV: Final = (
    "day,block_id,block_name,version,status,pulse,start_local,start_epoch_s,duration_min,"
    "planned_min,gross_mm,net_mm,volume_l\r\n"
    "2026-07-15,hill-farm.north,North blueberries,1,water,1,2026-07-15T05:00:00-04:00,1784106000,"
    "40,40,1.81,1.63,5490.0\r\n"
)

CALENDAR: Final = "\r\n".join(
    (
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Rillwright//Plans//EN",
        "UID:plans.hill-farm@farm.example",
        "REFRESH-INTERVAL;VALUE=DURATION:PT4H",
        "BEGIN:VEVENT",
        "UID:pulse.hill-farm.north.2026-07-15.1@farm.example",
        "SEQUENCE:0",
        "DTSTAMP:20260714T230000Z",
        "DTSTART:20260715T090000Z",
        "DTEND:20260715T094000Z",
        "SUMMARY:Water North blueberries\\, 40 min",
        "STATUS:CONFIRMED",
        "END:VEVENT",
        "END:VCALENDAR",
        "",
    )
)
