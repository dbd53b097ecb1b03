"""The part of the nomenclature that is about leaf, petiole and soil tests.

In: nothing. Out: :data:`NUTRITION_GROUPS`, one line for each name, as in
:mod:`service.agronomy.units`.
"""

from __future__ import annotations

from math import inf

from service.agronomy.quantity import Quantity

_TESTS = (
    Quantity("leaf_count", "1", 0, 10_000, "leaves or petioles in a sample"),
    Quantity("leaf_variation_pct", "%", 0, 100, "coefficient of variation from leaf to leaf"),
    Quantity("organic_pct", "%", 0, 100, "organic matter of the soil"),
    Quantity("carbonate_pct", "%", 0, 100, "free carbonate of the soil as CaCO3"),
    Quantity("neutralising_pct", "%", 0, 200, "neutralizing value of a lime, pure CaCO3 at 100"),
    Quantity("planned_mm", "mm", 0, 5000, "water of a season"),
    Quantity("water_alkalinity_mg_per_l", "mg/L", -2500, 2500, "the same of a plan of soil pH"),
    Quantity("block_kg", "kg", 0, inf, "mass of a nutrient over a block"),
)

NUTRITION_GROUPS = (_TESTS,)
"""Names of nutrition, by subject."""
