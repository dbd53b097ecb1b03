"""Crops and soils by name, and the clocks of farms, for the choices of forms."""

from __future__ import annotations

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.translations import Wording

ZONES = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix",
    "America/Los_Angeles", "America/Mexico_City", "America/Tijuana", "America/Bogota",
    "America/Lima", "America/Santiago", "America/Argentina/Buenos_Aires", "Europe/Madrid", "UTC",
)  # fmt: skip


def textures_by_key(words: Wording) -> list[tuple[str, str]]:
    """Every texture, from coarse to fine."""
    return [(key, words.gettext(key).replace("-", " ")) for key in TEXTURE_KEYS]


def crops_by_name(words: Wording) -> list[tuple[str, str]]:
    """Every crop, by its name as the reader reads it."""
    named = ((row.key, words.gettext(row.name)) for row in CROPS.values())
    return sorted(named, key=lambda each: each[1])
