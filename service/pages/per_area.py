"""Masses over ground as a grower counts them: lb/ac on farms in US units, kg/ha on others."""

from __future__ import annotations

from service.translations import Wording
from service.unit_sizes import LB_PER_AC_PER_KG_PER_HA


def per_area_unit(words: Wording) -> str:
    """The reader's unit."""
    return "lb/ac" if words.unit_system == "us" else "kg/ha"


def bare_per_area(kg_per_ha: float, words: Wording) -> str:
    """The number in that unit; small amounts, such as those of micronutrients, in more digits."""
    value = kg_per_ha * (LB_PER_AC_PER_KG_PER_HA if words.unit_system == "us" else 1.0)
    return words.number(value, 2 if 0.0 < value < 1.0 else 1)


def per_area_text(kg_per_ha: float, words: Wording) -> str:
    """The number with its unit."""
    return f"{bare_per_area(kg_per_ha, words)} {per_area_unit(words)}"
