"""Example of the list of a block's parts, shortened."""

from __future__ import annotations

from typing import Any, Final

PARTS: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "area_m2": 2428.113853,
    "water_sample_day": None,
    "flow_origin": "emitter flow as stated, times the emitters of the area",
    "amounts": {
        "lateral_m": 1593.25056,
        "lateral_length_m": 49.275895,
        "lateral_count": 33,
        "emitter_count": 3485,
        "header_m": 51.816,
        "submain_m": 0.0,
        "block_flow_l_per_h": 6595.701492,
        "zone_count": 1,
        "zone_flow_l_per_h": 6595.701492,
        "acre_inch_time_h": 9.350649,
    },
    "filter": {
        "kind": "screen or disc filter",
        "grade": "none",
        "decided_by": [],
        "is_water_known": False,
        "mesh": 150,
        "flow_l_per_h": 6595.701492,
        "rated_flow_l_per_h": 7914.841791,
        "bed_area_m2": None,
        "clean_at_head_m": 3.5,
    },
    "regulator": {
        "set_low_head_m": 10.0,
        "set_high_head_m": 12.0,
        "least_inlet_head_m": 13.5,
        "flow_l_per_h": 6595.701492,
        "source": "rated pressure of the emitters to a fifth above it: common practice, no source",
    },
    "injection_places": [
        {
            "substance": "fertiliser",
            "is_before_filter": True,
            "reason": "Before the filter, which catches what has not dissolved or "
            "has come out again; not while the filter flushes itself.",
            "source": "Irrigation Today, April 2017, on injector locations; common practice",
        }
    ],
    "suction": {
        "downstream_head_m": 17.0,
        "least_inlet_head_m": 22.666667,
        "inlet_head_m": None,
        "needed_difference_head_m": None,
        "free_difference_head_m": None,
        "booster_head_m": None,
    },
    "bucket_l": 36.276358,
    "parts": [
        {
            "key": "backflow-preventer",
            "name": "Backflow preventer, of the kind that local code asks for",
            "amount": 1.0,
            "unit": "piece",
            "sizes": [{"label": "flow", "low": 6595.701492, "high": None, "unit": "L/h"}],
            "note": "Never chosen here: ask the water supplier or the county which kind "
            "there must be, and who may install and test it. Its own pressure loss "
            "is in its data sheet.",
            "source": "local code; Washington's WAC 16-202-310, for one, wants a check "
            "valve, a vacuum relief valve and a low-pressure drain before every "
            "injection point, or an approved assembly",
            "is_optional": False,
        },
        {
            "key": "filter",
            "name": "Filter with a flush valve",
            "amount": 1.0,
            "unit": "piece",
            "sizes": [
                {"label": "rated flow, at least", "low": 7914.841791, "high": None, "unit": "L/h"},
                {"label": "mesh, or finer", "low": 150.0, "high": None, "unit": "mesh"},
                {
                    "label": "clean it at a pressure difference of",
                    "low": 3.5,
                    "high": None,
                    "unit": "m of water",
                },
            ],
            "note": "The maker of the emitters says how fine; that stands above this number.",
            "source": "Clemson Extension HGIC, Part 5: media or self-cleaning filters for "
            "surface water; UF/IFAS WI008 and WI009: screens for mineral particles "
            "of wells, not for loads of algae; Clemson Extension HGIC, Landscape "
            "Irrigation Equipment Part 5: 150 mesh for drip, 200 for some "
            "emitters; Agriculture Victoria, Filtration for drip irrigation: 120 "
            "mesh or finer; margin: common practice, no source; 15 to 25 gpm per "
            "square foot of sand: from memory",
            "is_optional": False,
        },
        {
            "key": "drip-line",
            "name": "Drip line with its emitters",
            "amount": 1593.25056,
            "unit": "m",
            "sizes": [
                {"label": "length of one line", "low": 49.275895, "high": None, "unit": "m"},
                {"label": "emitter spacing", "low": 0.4572, "high": None, "unit": "m"},
                {"label": "flow of an emitter", "low": 1.892706, "high": None, "unit": "L/h"},
            ],
            "note": "",
            "source": "counted from area, spacings and pipes",
            "is_optional": False,
        },
    ],
    "order": [
        {
            "key": "supply",
            "kind": "part",
            "name": "Supply: pump, well or hydrant",
            "reason": "",
            "is_in_zone": False,
        },
        {
            "key": "main-valve",
            "kind": "part",
            "name": "Main shut-off valve",
            "reason": "First, so that all that follows can be opened without pressure.",
            "is_in_zone": False,
        },
        {
            "key": "backflow-preventer",
            "kind": "by-code",
            "name": "Backflow preventer",
            "reason": "Of the kind that local code asks for; before every point of injection.",
            "is_in_zone": False,
        },
    ],
    "checklists": [
        {
            "key": "visit",
            "title": "On a visit",
            "steps": [
                "Read both gauges of the filter while water runs; note the "
                "difference, and clean it if it is due."
            ],
            "source": "common practice, no source",
        },
        {
            "key": "spring",
            "title": "Spring start-up: flush, test, walk",
            "steps": [
                "Have the backflow preventer tested, where code asks for it, before it is used."
            ],
            "source": "common practice, no source",
        },
        {
            "key": "winter",
            "title": "End of the season: drain",
            "steps": ["Flush header and lines a last time, in the order of the pipe."],
            "source": "UGA Extension C 1094 (read in part); else common practice, no source",
        },
    ],
    "notes": [
        "The length of the rows is not described: the block is taken as a square, its "
        "rows fed from one end."
    ],
    "last_visit": [
        {
            "note_id": "5f0c9b1e2d3a4857",
            "block_id": "hill-farm.north",
            "day": "2026-07-09",
            "visitor": "Ann",
            "text": "Row 12 dripped at its far end: mended.",
        }
    ],
    "cautions": [
        {
            "key": "local-code",
            "text": "Local code and licensed practice say which kind of backflow "
            "preventer there must be, where and how high it is put, and who "
            "installs and tests it. Nothing here chooses it. It protects water "
            "that people drink.",
        }
    ],
}
