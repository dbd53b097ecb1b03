"""Examples of questions and answers about what is dosed into the water."""

from __future__ import annotations

from typing import Any, Final

ACID_TREATMENT: Final[dict[str, Any]] = {"acid": "sulfuric", "strength_pct": 93.0, "product_l": 7.5}
GIVEN_ACID: Final[dict[str, Any]] = {
    "first_day": "2026-01-01",
    "last_day": "2026-07-14",
    "items": [
        {"day": "2026-06-02", "acid_key": "sulfuric", "strength_pct": 93.0, "product_l": 7.5}
    ],
    "product_kg": 13.70925,
    "product_l": 7.5,
    "brought": [{"nutrient": "sulfur", "load_kg_per_ha": 10.419069}],
    "carbonate_kg_per_ha": 32.525,
}

ACID: Final[dict[str, Any]] = {
    "cautions": [
        {
            "key": "estimate-only",
            "text": "This is an estimate from a laboratory analysis. It is never an "
            "instruction to open or to start anything. A titration of the water "
            "itself beats it, and the pH must be measured at the last emitters "
            "before it is relied on.",
        },
        {
            "key": "protective-gear",
            "text": "Wear splash goggles and a face shield, acid-proof gloves, apron and "
            "boots. Have an eyewash and plenty of clean water within reach, and "
            "never work alone: acid blinds and burns within seconds.",
        },
        {
            "key": "acid-into-water",
            "text": "Always add acid to water, never water to acid: water on concentrated "
            "acid boils and spatters.",
        },
        {
            "key": "never-with-chlorine",
            "text": "Never mix acid with chlorine products, neither in a tank nor at one "
            "injection point, and flush and separate the equipment: acid and "
            "hypochlorite give off chlorine gas, which kills.",
        },
    ],
    "limit": {
        "lowest_ph": 5.5,
        "binding": {
            "key": "crop",
            "lowest_ph": 5.5,
            "text": "For this crop no practice below pH 5.5 was found: it gains "
            "nothing from it. Emitters are cleaned with stronger acid only "
            "by their maker's instructions.",
            "source": "common practice, no source",
        },
        "parts": [
            {
                "key": "crop",
                "lowest_ph": 5.5,
                "text": "For this crop no practice below pH 5.5 was found: it gains "
                "nothing from it. Emitters are cleaned with stronger acid only "
                "by their maker's instructions.",
                "source": "common practice, no source",
            },
            {
                "key": "duration",
                "lowest_ph": 4.0,
                "text": "A short injection with somebody beside it sets no limit of its "
                "own: below pH 4 almost nothing buffers, and every dose is a "
                "guess.",
                "source": "own choice",
            },
            {
                "key": "plastic",
                "lowest_ph": 4.0,
                "text": "Polyethylene, PVC and polypropylene stand dilute acid.",
                "source": "common practice, no source",
            },
        ],
    },
    "block_id": "hill-farm.south",
    "acid_key": "sulfuric",
    "target_ph": 6.5,
    "basis": "model",
    "dose_mmol_per_l": 0.468785,
    "dose_meq_per_l": 0.937569,
    "model_dose_mmol_per_l": 0.468785,
    "acid_g_per_m3": 49.438636,
    "acid_ml_per_m3": 27.046685,
    "flow_l_per_h": 3969.709575,
    "flow_origin": "the block's pipes and pressure",
    "injector_l_per_h": 0.107367,
    "nutrient": "sulfur",
    "nutrient_g_per_m3": 15.029236,
    "open_air_ph": 8.270763,
    "calcite_saturation_before": 0.106473,
    "calcite_saturation_after": -1.414532,
    "ph_by_dose": [
        {"dose_change_pct": -5.0, "ph": 6.534484},
        {"dose_change_pct": 5.0, "ph": 6.466023},
    ],
    "loads": [
        {
            "nutrient": "sulfur",
            "first_day": "2026-07-15",
            "last_day": "2026-07-15",
            "gross_mm": 4.6,
            "load_kg_per_ha": 0.691345,
        }
    ],
    "injection": {
        "injection_min": 30.0,
        "water_l": 1984.854788,
        "acid": {"product_kg": 0.098129, "product_l": 0.053684},
        "tank_l": 10.0,
        "clean_water_l": 9.946316,
        "acid_share_fraction": 0.005368,
        "flush_min": 24.715028,
        "steps": [
            "Protective gear on, eyewash and plenty of clean water beside you, "
            "nobody alone, no chlorine near.",
            "Fill the tank with the clean water first. Then add the acid to it "
            "slowly, in small parts, stirring; let it cool. Label the tank.",
            "Run the block with clean water until its pressure holds and the last emitter drips.",
            "Inject for the minutes given, and stay beside it. The injector stops "
            "when the water stops.",
            "Measure the pH at the first and the last emitters, and stop when it "
            "is below the pH wanted.",
            "Flush with clean water for at least as long as water takes to the "
            "last emitter: no acid water is left in injector, filter and lines.",
        ],
    },
    "season": {
        "season_water_mm": 7.191503,
        "block": {"product_kg": 0.981285, "product_l": 0.536837},
        "per_ha": {"product_kg": 3.555381, "product_l": 1.945063},
        "per_acre": {"product_kg": 1.438812, "product_l": 0.787139},
        "nutrient": "sulfur",
        "nutrient_kg_per_ha": 1.080828,
        "used_up_fraction": 0.390966,
        "block_cost": 1.342094,
        "cost_per_ha": 4.862658,
        "cost_per_acre": 1.967848,
        "note": "Acid that the water's alkalinity has used up does not lower the soil's "
        "pH: it only keeps the water from raising it. What it brings counts as "
        "fertilizer.",
    },
    "season_origin": "the injections alone, at the flow of the block",
    "given": GIVEN_ACID,
    "advisories": [
        {"key": "below-detection", "text": "Below detection, taken as the detection limit: iron."}
    ],
}

CHLORINE: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "free_mg_per_l": 2.0,
    "demand_mg_per_l": 0.03175,
    "dose_mg_per_l": 2.03175,
    "product_ml_per_m3": 16.254,
    "flow_l_per_h": 3999.974265,
    "flow_origin": "the block's pipes and pressure",
    "injector_l_per_h": 0.065016,
    "effective_share": 0.3546,
    "advisories": [
        {
            "key": "demand-unknown",
            "text": "What the water holds of manganese, sulfide is not known and was taken as"
            " none: the free chlorine may come out lower.",
        }
    ],
    "cautions": [
        {
            "key": "chlorine-no-fertiliser",
            "text": "Never inject chlorine together with fertilizer or pesticide, least of all"
            " with ammonium or urea: they use it up and can give off poisonous gas.",
        }
    ],
}

PUMPING: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "day": "2026-07-15",
    "planned_min": 96,
    "flow_l_per_h": 27000.0,
    "flow_origin": "the block's pipes and pressure",
    "power_kw": 3.677494,
    "energy_kwh": 5.88399,
    "cost": 0.882599,
}

SPLIT: Final[dict[str, Any]] = {
    "cautions": [
        {
            "key": "injection-estimate",
            "text": "These numbers follow from what was stated of products, water and "
            "pipes. They are never an instruction to open or to start anything: "
            "check rate and EC at the emitters. Injecting is work for trained, and "
            "in many places licensed, people; local code stands above these "
            "numbers.",
        },
        {
            "key": "backflow-prevention",
            "text": "Injection needs backflow prevention for the water source, a check "
            "valve at the injector and an interlock that stops the injector when "
            "the water stops, as local code demands.",
        },
    ],
    "block_id": "hill-farm.north",
    "area_ha": 0.303514,
    "days": [
        {
            "day": "2026-04-01",
            "is_after_last_nitrogen": False,
            "products": [
                {
                    "product_key": "ammonium-sulfate",
                    "mass_kg": 28.631791,
                    "mass_kg_per_ha": 94.334261,
                },
                {
                    "product_key": "potassium-sulfate",
                    "mass_kg": 6.763512,
                    "mass_kg_per_ha": 22.284004,
                },
            ],
            "accounts": [
                {"nutrient": "nitrogen", "asked_kg_per_ha": 20.0, "given_kg_per_ha": 20.0},
                {"nutrient": "potassium", "asked_kg_per_ha": 10.0, "given_kg_per_ha": 10.0},
                {"nutrient": "sulfur", "asked_kg_per_ha": 0.0, "given_kg_per_ha": 26.98851},
            ],
        }
    ],
    "accounts": [
        {"nutrient": "nitrogen", "asked_kg_per_ha": 40.0, "given_kg_per_ha": 40.0},
        {"nutrient": "potassium", "asked_kg_per_ha": 20.0, "given_kg_per_ha": 20.0},
        {"nutrient": "sulfur", "asked_kg_per_ha": 0.0, "given_kg_per_ha": 53.977019},
    ],
    "products": [
        {
            "key": "ammonium-sulfate",
            "name": "Ammonium sulfate",
            "nitrogen_fraction": 0.212012,
            "phosphorus_fraction": 0.0,
            "potassium_fraction": 0.0,
            "calcium_fraction": 0.0,
            "magnesium_fraction": 0.0,
            "sulfur_fraction": 0.242632,
            "source": "CRC Handbook of Chemistry and Physics, from memory; phosphates by "
            "its 98th edition",
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
        }
    ],
    "last_nitrogen_day": "2026-07-31",
    "last_nitrogen_origin": "common practice, no single source: finished before the end of July "
    "in the south-east, by early July in cooler regions, so that growth "
    "hardens and flower buds form",
    "advisories": [
        {
            "key": "nutrient-unasked",
            "text": "These products also bring 54 kg/ha (48 lb/ac) of sulfur, which was "
            "not asked for: count it in the season's need.",
        }
    ],
}
