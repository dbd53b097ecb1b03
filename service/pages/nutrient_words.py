"""What pages call nutrients within a sentence."""

from __future__ import annotations

from collections.abc import Mapping

from service.translations.catalogue import marked

NUTRIENT_WORDS: Mapping[str, str] = {
    "nitrogen": marked("nitrogen"),
    "phosphorus": marked("phosphorus"),
    "potassium": marked("potassium"),
    "calcium": marked("calcium"),
    "magnesium": marked("magnesium"),
    "sulfur": marked("sulfur"),
    "chloride": marked("chloride"),
    "iron": marked("iron"),
    "manganese": marked("manganese"),
    "zinc": marked("zinc"),
    "copper": marked("copper"),
    "boron": marked("boron"),
    "molybdenum": marked("molybdenum"),
}
