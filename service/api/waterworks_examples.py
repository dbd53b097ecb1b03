"""Example bodies and answers about pipes, water and fertilizer; all invented."""

from __future__ import annotations

from typing import Any, Final

HYDRAULICS: Final[dict[str, Any]] = {
    "name": "hill-farm.south",
    "inlet_head_m": 10.0,
    "inlet_flow_l_per_h": 15.999897,
    "counted_flow_l_per_h": 3999.974265,
    "counted_flow_origin": "the block's pipes and pressure",
    "takeoff_head_m": [9.999996, 9.999995],
    "design_uniformity_pct": 96.189797,
    "low_quarter_uniformity_pct": 99.999793,
    "lowest_over_mean_ratio": 0.999998,
    "dry_emitter_count": 0,
    "outside_range_count": 0,
    "row": {
        "inlet_head_m": 9.999995,
        "emitter_flow_l_per_h": [1.999993, 1.999988, 1.999985, 1.999983],
        "emitter_head_m": [9.999928, 9.999879, 9.999846, 9.999829],
        "first_dry_emitter": None,
        "design_uniformity_pct": 96.189801,
    },
    "longest_row": {
        "target_uniformity_pct": 90.0,
        "emitter_count": 355,
        "length_m": 163.3,
        "is_search_limit": False,
    },
    "volume_l": 19.44338,
    "fill_time_min": 72.913143,
    "most_travel_min": 110.988286,
    "last_travel_min": 110.988286,
    "flush": {
        "end_flow_l_per_h": 217.146884,
        "line_flow_l_per_h": 225.146823,
        "lines_at_once_count": 0,
    },
    "regulator_findings": ["the block takes less flow than the regulator can control"],
    "cautions": [
        "The pressure regulator is out of its range: the block takes less flow "
        "than the regulator can control."
    ],
}
CATCH: Final[dict[str, Any]] = {
    "caught_ml": [205, 198, 192, 210, 180, 200, 195, 188, 202, 170, 196, 208, 190, 204, 185, 199],
    "is_used": True,
}
CATCH_TEST: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "day": "2026-07-13",
    "sample_count": 16,
    "emission_uniformity_pct": 92.632928,
    "emission_uniformity_low_pct": 88.63944,
    "emission_uniformity_high_pct": 94.528974,
    "confidence_pct": 90.0,
    "statistical_uniformity_pct": 94.531684,
    "christiansen_uniformity_pct": 95.779949,
    "plan_uniformity_pct": 92.63,
    "plan_origin": "catch test of 2026-07-13, 16 emitters, 90 % interval 89 to 95 %",
}
SAMPLE: Final[dict[str, Any]] = {
    "laboratory": "Invented laboratory",
    "temperature_c": 20.0,
    "readings": [
        {"quantity": "ph", "value": 7.8},
        {"quantity": "ec", "value": 520.0, "unit": "uS/cm"},
        {"quantity": "alkalinity", "value": 120.0, "unit": "mg/L as CaCO3"},
        {"quantity": "calcium", "value": 48.0, "unit": "mg/L"},
        {"quantity": "magnesium", "value": 12.0, "unit": "mg/L"},
        {"quantity": "sodium", "value": 40.0, "unit": "mg/L"},
        {"quantity": "chloride", "value": 60.0, "unit": "mg/L"},
        {"quantity": "sulfate", "value": 50.0, "unit": "mg/L"},
        {"quantity": "iron", "value": 0.05, "unit": "mg/L", "is_below_detection": True},
    ],
}
WATER_SAMPLE: Final[dict[str, Any]] = {
    "supply_id": "hill-farm.well",
    "day": "2026-05-01",
    "laboratory": "Invented laboratory",
    "temperature_c": 20.0,
    "readings": [
        {"quantity": "ph", "value": 7.8, "unit": "", "is_below_detection": False},
        {"quantity": "ec", "value": 520.0, "unit": "uS/cm", "is_below_detection": False},
        {
            "quantity": "alkalinity",
            "value": 120.0,
            "unit": "mg/L as CaCO3",
            "is_below_detection": False,
        },
        {"quantity": "calcium", "value": 48.0, "unit": "mg/L", "is_below_detection": False},
        {"quantity": "magnesium", "value": 12.0, "unit": "mg/L", "is_below_detection": False},
        {"quantity": "sodium", "value": 40.0, "unit": "mg/L", "is_below_detection": False},
        {"quantity": "chloride", "value": 60.0, "unit": "mg/L", "is_below_detection": False},
        {"quantity": "sulfate", "value": 50.0, "unit": "mg/L", "is_below_detection": False},
        {"quantity": "iron", "value": 0.05, "unit": "mg/L", "is_below_detection": True},
    ],
    "titration_count": 0,
    "advisories": [
        {"key": "below-detection", "text": "Below detection, taken as the detection limit: iron."}
    ],
}
WATER_REPORT: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "supply_id": "hill-farm.well",
    "day": "2026-05-01",
    "crop_key": "grape-wine",
    "charge_difference_pct": -0.085935,
    "sodium_adsorption_ratio": 1.337824,
    "restrictions": [
        {
            "name": "ec_ds_m",
            "label": "Salinity",
            "value": 0.52,
            "unit": "dS/m",
            "grade": "none",
            "word": "none",
            "limits": "none below 0.7, slight to moderate 0.7 to 3, severe above 3",
            "source": "FAO-29 rev. 1 (Ayers & Westcot 1985), Table 1",
            "advice": "Usually no action needed.",
        }
    ],
    "crop_classes": [
        {
            "name": "chloride_meq_per_l",
            "label": "Chloride, for this crop",
            "value": 1.692382,
            "unit": "meq/L",
            "grade": "none",
            "word": "none",
            "limits": "none below 6.7, slight to moderate 6.7 to 13, severe above 13",
            "source": "FAO-29 rev. 1, Table 14, chloride in the water, two thirds of that in the"
            " extract (from memory)",
            "advice": "Usually no action needed.",
        }
    ],
    "clogging": [
        {
            "name": "ph",
            "label": "pH",
            "value": 7.8,
            "unit": "",
            "grade": "moderate",
            "word": "moderate",
            "limits": "minor below 7, moderate 7 to 8, severe above 8",
            "source": "Bucks, Nakayama & Gilbert 1979, Agric. Water Manage. "
            "2:149-162; limits from memory",
            "advice": "Look at the saturation index; where it says scale, acid now "
            "and then is common.",
        }
    ],
    "saturation": {
        "calcite_index": 0.106473,
        "langelier_index": -0.079051,
        "word": "neutral",
        "advice": "Neither scale nor attack is sure; warm lines may scale. Look "
        "into some emitters.",
    },
    "salinity": {
        "leaching_requirement_fraction": 0.074499,
        "drip_leaching_requirement_fraction": 0.021818,
        "leaching_fraction": 0.15,
        "expected_soil_salinity_ds_m": 0.797333,
        "relative_yield_pct": 100.0,
        "advice": "No loss is expected; in humid climates the year's rain usually leaches.",
    },
    "plan_leaching_fraction": 0.0,
    "plan_origin": "leaching is off unless set",
    "nitrogen_loads": [
        {
            "nutrient": "nitrogen",
            "first_day": "2026-01-01",
            "last_day": "2026-07-15",
            "gross_mm": 310.0,
            "load_kg_per_ha": 31.0,
        }
    ],
    "missing": [
        {"name": "nitrate_nitrogen_mg_per_l", "needed_for": "nitrogen that the water itself feeds"}
    ],
    "advisories": [
        {"key": "below-detection", "text": "Below detection, taken as the detection limit: iron."}
    ],
    "cautions": [
        "In humid climates the year's rain usually leaches the soil, and leaching "
        "in the season only carries nutrients away: sample the soil before it is "
        "turned on."
    ],
}
FLOW_CHECK: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "verdict": "jump-up",
    "text": "the flow rose at once: a leak, a broken line or a failed regulator",
    "run_count": 60,
    "first_day": "2026-05-15",
    "level_ratio": 1.0,
    "is_level_off": False,
    "is_alarm": True,
    "noise_fraction": 0.021,
    "noise_memory": 0.12,
    "change_fraction": 0.24,
    "alarm_days": ["2026-06-26"],
    "delays": [{"loss_fraction": 0.1, "sudden_run_count": 4, "slow_run_count": 74}],
    "jumps": [{"day": "2026-06-24", "change_fraction": 0.24}],
    "slow_change": None,
    "odd_days": [],
    "is_last_run_odd": False,
    "flow_origin": "the block's pipes and pressure",
    "cautions": [
        "At this block's spread of 2 % from run to run, a sudden loss of 10 % would show "
        "after about 4 runs."
    ],
}
FERTILISERS: Final[dict[str, Any]] = {
    "items": [
        {
            "key": "urea",
            "name": "Urea",
            "nitrogen_fraction": 0.466465,
            "phosphorus_fraction": 0.0,
            "potassium_fraction": 0.0,
            "calcium_fraction": 0.0,
            "magnesium_fraction": 0.0,
            "sulfur_fraction": 0.0,
            "source": "CRC Handbook of Chemistry and Physics, from memory",
            "nitrate_nitrogen_fraction": 0.0,
            "ammonium_nitrogen_fraction": 0.0,
            "urea_nitrogen_fraction": 0.466465,
            "chloride_fraction": 0.0,
            "iron_fraction": 0.0,
            "manganese_fraction": 0.0,
            "zinc_fraction": 0.0,
            "copper_fraction": 0.0,
            "boron_fraction": 0.0,
            "molybdenum_fraction": 0.0,
        },
        {
            "key": "ammonium-sulfate",
            "name": "Ammonium sulfate",
            "nitrogen_fraction": 0.212012,
            "phosphorus_fraction": 0.0,
            "potassium_fraction": 0.0,
            "calcium_fraction": 0.0,
            "magnesium_fraction": 0.0,
            "sulfur_fraction": 0.242632,
            "source": "CRC Handbook of Chemistry and Physics, from memory",
            "nitrate_nitrogen_fraction": 0.0,
            "ammonium_nitrogen_fraction": 0.212012,
            "urea_nitrogen_fraction": 0.0,
            "chloride_fraction": 0.0,
            "iron_fraction": 0.0,
            "manganese_fraction": 0.0,
            "zinc_fraction": 0.0,
            "copper_fraction": 0.0,
            "boron_fraction": 0.0,
            "molybdenum_fraction": 0.0,
        },
    ]
}
ORDER: Final[dict[str, Any]] = {
    "products": [{"product_key": "urea", "mass_kg": 3.0}],
    "stock_l": 30.0,
    "temperature_c": 15.0,
    "injector_lowest_l_per_h": 5.0,
    "injector_highest_l_per_h": 120.0,
}
FERTIGATION: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "day": "2026-07-15",
    "products": [{"product_key": "urea", "name": "Urea", "mass_kg": 3.0}],
    "stock_l": 30.0,
    "temperature_c": 15.0,
    "injector_lowest_l_per_h": 5.0,
    "injector_highest_l_per_h": 120.0,
    "largest_added_min": 0,
    "travel_min": None,
    "last_nitrogen_day": None,
    "advisories": [],
    "cautions": [
        {
            "key": "injection-estimate",
            "text": "These numbers follow from what was stated of products, water and "
            "pipes. They are never an instruction to open or to start anything: "
            "check rate and EC at the emitters. Injecting is work for trained, and "
            "in many places licensed, people; local code stands above these numbers.",
        },
        {
            "key": "backflow-prevention",
            "text": "Injection needs backflow prevention for the water source, a "
            "check valve at the injector and an interlock that stops the "
            "injector when the water stops, as local code demands.",
        },
        {
            "key": "jar-test",
            "text": "Mix the products with the irrigation water in a jar, in the "
            "proportion of the injection, and look for clouding or sediment "
            "after an hour and after a day, before they go into the lines.",
        },
        {
            "key": "product-label",
            "text": "The label and the safety sheet of the product stand above these numbers.",
        },
    ],
}

CAPACITY: Final[dict[str, Any]] = {
    "supply_id": "hill-farm.well",
    "flow_l_per_h": 9084.988,
    "area_ha": 0.704,
    "open_time_h": 17.0,
    "flow_l_per_s_per_ha": 3.584671,
    "largest_block_id": "hill-farm.south",
    "largest_block_flow_l_per_h": 5333.299,
    "block_ids": ["hill-farm.north", "hill-farm.south"],
    "summers": [
        {
            "first_day": "2025-04-01",
            "last_day": "2025-10-31",
            "is_kept": True,
            "largest_excess_mm": -4.079,
        }
    ],
    "changes": [
        {"name": "now", "text": "pump and windows as they are", "kept_share": 1.0, "reason": ""},
        {
            "name": "pump-1.25",
            "text": "a pump of 3.15 L/s (1.25 times)",
            "kept_share": 1.0,
            "reason": "",
        },
        {
            "name": "second-line",
            "text": "a second drip line in each row",
            "kept_share": None,
            "reason": "block hill-farm.south would take 2.96 L/s, the supply gives 2.52: "
            "split the block or enlarge the pump",
        },
    ],
    "peaks": [
        {
            "span_days": 3,
            "year_share": 0.5,
            "net_mm": 13.11,
            "gross_mm": 14.567,
            "needed_flow_l_per_h": 2009.37,
            "carried_ha": 3.181,
        },
        {
            "span_days": 7,
            "year_share": 0.9,
            "net_mm": 30.349,
            "gross_mm": 33.721,
            "needed_flow_l_per_h": 1993.548,
            "carried_ha": 3.206,
        },
    ],
    "design_peak": {"summer_use_mm": 30.611, "shade_use_mm": 30.542},
    "left_out": [],
    "cautions": [
        "Shares count summers in which every block stays within its readily "
        "available water each evening, if nothing breaks and each evening knows the "
        "next day's weather.",
        "Flow and hectares assume that water runs in every open hour; keep a reserve for repairs.",
        "1 summers are few: what 90 or 95 % of years stay below is then hardly more "
        "than the largest one seen.",
    ],
}
