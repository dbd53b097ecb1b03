"""Crops and soils by name, and the clocks of farms, for the choices of forms."""

from __future__ import annotations

from service.agronomy.crop_table import CROPS
from service.agronomy.soil import TEXTURE_KEYS
from service.translations import Wording
from service.translations.catalogue import marked

ZONES = (
    "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix",
    "America/Los_Angeles", "America/Mexico_City", "America/Tijuana", "America/Bogota",
    "America/Lima", "America/Santiago", "America/Argentina/Buenos_Aires", "Europe/Madrid", "UTC",
)  # fmt: skip


def textures_by_key(words: Wording) -> list[tuple[str, str]]:
    """Every texture, from coarse to fine."""
    return [(key, words.gettext(key).replace("-", " ")) for key in TEXTURE_KEYS]


_GROUPS = (
    (marked("Berries"), ("berry-", "blueberry", "raspberry", "blackberry", "boysenberry", "straw")),
    (marked("Grapes and hops"), ("grape-", "hops")),
    (marked("Apples, pears and cherries"), ("apple-", "pear-", "cherry-")),
    (marked("Peaches, apricots and plums"), ("peach-", "apricot-", "plum-", "stone-fruit-")),
    (marked("Nuts"), ("almond", "pecan-", "pistachio", "walnut")),
    (marked("Citrus"), ("citrus-",)),
    (marked("Other fruit"), ("avocado", "kiwi", "olive", "banana-", "date-palm")),
)
"""Groups of crops for a list to choose from, by how their keys begin."""


def crops_by_group(words: Wording) -> list[tuple[str, list[tuple[str, str]]]]:
    """Every crop under the name of its group, in both by name as the reader reads it."""
    named = crops_by_name(words)
    return [
        (words.gettext(group), [each for each in named if each[0].startswith(starts)])
        for group, starts in _GROUPS
    ]


def crops_by_name(words: Wording) -> list[tuple[str, str]]:
    """Every crop, by its name as the reader reads it."""
    named = ((row.key, words.gettext(row.name)) for row in CROPS.values())
    return sorted(named, key=lambda each: each[1])
