"""Examples of questions and answers about what is dosed into the water."""

from __future__ import annotations

from typing import Any, Final

ACID: Final[dict[str, Any]] = {
    "block_id": "hill-farm.south",
    "acid_key": "sulfuric",
    "target_ph": 6.5,
    "basis": "model",
    "dose_mmol_per_l": 0.468785,
    "dose_meq_per_l": 0.937569,
    "model_dose_mmol_per_l": 0.468785,
    "acid_g_per_m3": 49.438636,
    "acid_ml_per_m3": 27.046685,
    "flow_l_per_h": 3999.974265,
    "flow_origin": "the block's pipes and pressure",
    "injector_l_per_h": 0.108186,
    "nutrient": "sulfur",
    "nutrient_g_per_m3": 15.029236,
    "open_air_ph": 8.270763,
    "calcite_saturation_before": 0.106473,
    "calcite_saturation_after": -1.414532,
    "ph_by_dose": [{"dose_change_pct": -5.0, "ph": 6.532}, {"dose_change_pct": 5.0, "ph": 6.468}],
    "loads": [
        {
            "nutrient": "sulfur",
            "first_day": "2026-07-15",
            "last_day": "2026-07-15",
            "gross_mm": 4.6,
            "load_kg_per_ha": 0.691345,
        }
    ],
    "advisories": [
        {"key": "below-detection", "text": "Below detection, taken as the detection limit: iron."}
    ],
    "cautions": [
        {
            "key": "estimate-only",
            "text": "This is an estimate from a laboratory analysis. It is never an "
            "instruction to open or to start anything. A titration of the "
            "water itself beats it, and the pH must be measured at the last "
            "emitters before it is relied on.",
        },
        {
            "key": "acid-into-water",
            "text": "Always add acid to water, never water to acid: water on "
            "concentrated acid boils and spatters.",
        },
        {
            "key": "never-with-chlorine",
            "text": "Never mix acid with chlorine products, neither in a tank nor at "
            "one injection point, and flush and separate the equipment: acid "
            "and hypochlorite give off chlorine gas, which kills.",
        },
        {
            "key": "trained-practice",
            "text": "Handling and injecting concentrated acid is work for trained, "
            "and in many places licensed, people with protective clothing, "
            "eye wash and shower at hand. Local code stands above this "
            "estimate.",
        },
        {
            "key": "backflow-prevention",
            "text": "Injection needs backflow prevention for the water source, a "
            "check valve at the injector and an interlock that stops the "
            "injector when the water stops, as local code demands.",
        },
        {
            "key": "corrosion",
            "text": "Concentrated acid attacks common metals, concrete and some "
            "plastics. The injection point and all that the acid passes "
            "before it is mixed must be made for that acid.",
        },
        {
            "key": "not-a-soil-ph",
            "text": "The pH rises again when the water loses its CO2 in open air. "
            "This dose says nothing about the pH of the soil or the leaf.",
        },
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
            "text": "Never inject chlorine together with fertiliser or pesticide, least of all"
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
