"""Examples of leaf, petiole and soil tests and of what follows; the numbers are invented."""

from __future__ import annotations

from typing import Any, Final

BODY: Final[dict[str, Any]] = {
    "day": "2025-08-01",
    "kind": "leaf",
    "crop": "highbush-blueberry",
    "leaf_count": 60,
    "laboratory": "Invented",
    "recommendation": "50 lb/ac of nitrogen",
    "readings": [
        {"nutrient": "N", "value": 1.6, "unit": "%"},
        {"nutrient": "K", "value": 0.45, "unit": "%"},
        {"nutrient": "B", "value": 22.0, "unit": "ppm"},
    ],
}
TEST: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "day": "2025-08-01",
    "kind": "leaf",
    "crop": "highbush-blueberry",
    "tissue": "leaf",
    "stage": "mid-season",
    "leaf_count": 60,
    "laboratory": "Invented",
    "recommendation": "50 lb/ac of nitrogen",
    "tables_edition": "2026-11",
    "range_row": "highbush-georgia",
    "is_classed": True,
    "notes": [],
    "values": {"N": 1.6, "K": 0.45, "B": 22.0},
    "cards": [
        {
            "nutrient": "N",
            "value": 1.6,
            "unit": "%",
            "leaf_class": "deficient",
            "word": "deficient",
            "low": 1.8,
            "high": 2.1,
            "deviation": -17.948718,
            "source": "University of Georgia, slides on blueberry nutrition (Kissel); "
            "Georgia, USA; table of 2026-11",
            "basis": "second-hand",
            "changes_at": [1.7, 1.8, 2.1, 2.73],
        },
        {
            "nutrient": "K",
            "value": 0.45,
            "unit": "%",
            "leaf_class": "sufficient",
            "word": "sufficient",
            "low": 0.35,
            "high": 0.65,
            "deviation": -10.0,
            "source": "University of Georgia, slides on blueberry nutrition (Kissel); "
            "Georgia, USA; table of 2026-11",
            "basis": "second-hand",
            "changes_at": [0.2625, 0.35, 0.65, 0.845],
        },
        {
            "nutrient": "B",
            "value": 22.0,
            "unit": "ppm",
            "leaf_class": "low",
            "word": "low",
            "low": 25.0,
            "high": 70.0,
            "deviation": -53.684211,
            "source": "University of Georgia, slides on blueberry nutrition (Kissel); "
            "Georgia, USA; table of 2026-11",
            "basis": "memory",
            "changes_at": [17.5, 25.0, 70.0, 140.0],
        },
    ],
    "soil_cards": [],
    "most_limiting": ["N", "B", "K"],
    "sentences": [
        "Not considered: disease, roots, spray residue, crop load, and what the "
        "laboratory knows of the place."
    ],
}
STORED: Final[dict[str, Any]] = {"test": TEST, "is_new": True, "is_changed": False}
PLAN: Final[dict[str, Any]] = {
    "block_id": "hill-farm.north",
    "crop": "highbush-blueberry",
    "season_year": 2027,
    "leaf_day": "2025-08-01",
    "soil_day": "2026-03-01",
    "recommendations": ["Invented, 2025-08-01: 50 lb/ac of nitrogen"],
    "nitrogen_kg_per_ha": 40.315848,
    "nitrogen_lines": [
        {"key": "base", "kg_per_ha": 55.0, "reason": "Base for year 6: given."},
        {
            "key": "leaf-and-vigour",
            "kg_per_ha": 13.75,
            "reason": "Leaf nitrogen is deficient and shoots are normal: 125% of the base.",
        },
        {
            "key": "water",
            "kg_per_ha": -8.0,
            "reason": "Water: 4 mg/L of nitrate nitrogen in 250 mm bring 10.0 "
            "kg/ha, of which 80 % count.",
        },
        {
            "key": "organic-matter",
            "kg_per_ha": -20.434152,
            "reason": "Organic matter: 2 % over 51 % of the ground (20 kg/ha a "
            "percent, from memory).",
        },
        {
            "key": "total",
            "kg_per_ha": 40.315848,
            "reason": "Nitrogen of the season, over planted ground.",
        },
    ],
    "product": "ammonium-sulfate",
    "parts": [
        {
            "day": "2027-03-15",
            "kg_per_ha": 8.06317,
            "lb_per_ac": 7.193791,
            "block_kg": 2.447287,
            "product_kg": 11.543149,
        },
        {
            "day": "2027-04-15",
            "kg_per_ha": 10.078962,
            "lb_per_ac": 8.992238,
            "block_kg": 3.059108,
            "product_kg": 14.428937,
        },
        {
            "day": "2027-05-15",
            "kg_per_ha": 10.078962,
            "lb_per_ac": 8.992238,
            "block_kg": 3.059108,
            "product_kg": 14.428937,
        },
        {
            "day": "2027-06-15",
            "kg_per_ha": 8.06317,
            "lb_per_ac": 7.193791,
            "block_kg": 2.447287,
            "product_kg": 11.543149,
        },
        {
            "day": "2027-07-15",
            "kg_per_ha": 4.031585,
            "lb_per_ac": 3.596895,
            "block_kg": 1.223643,
            "product_kg": 5.771575,
        },
    ],
    "last_nitrogen_day": "2027-07-31",
    "last_nitrogen_origin": "common practice, no single source: finished before the end of "
    "July in the south-east, by early July in cooler regions, so "
    "that growth hardens and flower buds form",
    "soil_cards": [
        {
            "nutrient": "P",
            "value": 22.0,
            "soil_class": "low",
            "edges": [12.0, 23.0, 36.0, 68.0],
            "source": "Rutgers relative levels (36 and 68 second-hand, the lower "
            "edges from memory); New Jersey, USA; table of 2026-11",
            "basis": "second-hand",
            "note": "",
        },
        {
            "nutrient": "K",
            "value": 70.0,
            "soil_class": "high",
            "edges": [10.0, 20.5, 36.0, 69.0],
            "source": "Rutgers relative levels; New Jersey, USA; table of 2026-11",
            "basis": "second-hand",
            "note": "Classes at half of the row's, as for blueberry, from memory.",
        },
    ],
    "oxides": [
        {
            "oxide": "P2O5",
            "kg_per_ha": 0.0,
            "parts": 0,
            "reason": "Blueberries rarely respond above 15 mg/kg: none is planned.",
        },
        {"oxide": "K2O", "kg_per_ha": 0.0, "parts": 0, "reason": "The soil test is high."},
    ],
    "others": [
        "Boron is short: on the leaf by the label, never on soil and leaf both; a "
        "little too much is poison."
    ],
    "soil_ph": {
        "ph": 5.8,
        "target": 4.8,
        "sulfur_is_practical": True,
        "sulfur_kg_per_ha": 768.342675,
        "sulfur_parts": [
            {"year": 1, "lb_per_ac": 228.5, "kg_per_ha": 256.114225},
            {"year": 2, "lb_per_ac": 228.5, "kg_per_ha": 256.114225},
            {"year": 3, "lb_per_ac": 228.5, "kg_per_ha": 256.114225},
        ],
        "lime_tons_per_ac": 0.0,
        "lime_product_tons_per_ac": 0.0,
        "notes": [
            "Published sulfur tables differ threefold for one soil. Split it, "
            "and test the soil again at the same depth before each further "
            "part; stop at 0.2 above the target. Below pH 4.2 only lime mends "
            "it.",
            "On moist soil above 10 °C, in early spring or autumn, under the "
            "drip line and never on wet, airless ground. The next part only "
            "after a soil pH, 3 months (warm) to 12 months later.",
            "Water brings 200 kg/ha of CaCO3 a season: 64 kg/ha of sulfur to stand still.",
            "Ammonium sulfate uses up 216 kg/ha.",
            "Water takes back what the fertilizer acidifies: no direction.",
        ],
        "carbonate_balance_kg_per_ha": -15.689789,
    },
    "next_leaf_opens": "2026-07-25",
    "next_leaf_closes": "2026-08-10",
    "tissue_words": "blades of recent full-grown leaves on this year's side shoots below "
    "the fruit, petioles off",
    "origins": [
        {"fact": "age", "origin": "year 6, given"},
        {"fact": "water", "origin": "analysis of 2026-05-01"},
        {"fact": "season's water", "origin": "given"},
    ],
    "gaps": [],
    "notes": [
        "A perennial reacts over two seasons: never adjust twice on one sample.",
        "State law, nutrient management plans and labels stand above this plan, and "
        "the laboratory's own recommendation comes first.",
    ],
}
