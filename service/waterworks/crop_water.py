"""What a water means for one kind of crop: boron, chloride, and crops of acid soils.

Blueberries are judged by salinity, alkalinity, sodium, chloride, calcium and boron: UGA circular
1105 names them sensitive to salinity, chloride, boron and sodium (read without its limits).

In: a completed analysis and the key of a crop. Out: classes as of :mod:`service.waterworks.
water_report`, with limits of that crop instead of limits for all. Soil water holds at least what
the water does, and more without rain, so that a limit of the soil water is a limit of the water
that is certain to be passed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.waterworks.water_analysis import WaterAnalysis
from service.waterworks.water_report import Grade, WaterClass

MAAS_1990 = (
    "Boron in soil water without loss: Maas 1990, USDA-ARS Riverside, boron tolerance of crops"
)
FAO_29_CHLORIDE = (
    "FAO-29 rev. 1, Table 14, chloride in the water, two thirds of that in the extract (from"
    " memory)"
)
ACID_SOIL = "common practice, no source"
ACID_SOIL_EC = (
    "common practice, no source; rabbiteye blueberry was harmed at 0.695 dS/m, with SAR 30 and"
    " bicarbonate 7.9 meq/L (Patten et al., Krejsa et al., J. ASHS, abstracts)"
)
UGA_1105 = "UGA circular 1105 names blueberry as sensitive, without a number"
ACID_SOIL_BORON = f"{UGA_1105}; limits of sensitive fruit, Maas 1990"
ACID_SOIL_CHLORIDE = (
    f"{UGA_1105}; limits of FAO-29 Table 14 for raspberry and strawberry, from memory"
)
ACID_SOIL_SODIUM = f"{UGA_1105}; limits common practice, no source"
ACID_SOIL_CALCIUM = (
    "Patten et al. 1989, Acta Hort. 241 (abstract): no harm up to 10 mmol/L in solution culture; 1"
    " and 3 mmol/L made up for part of the harm of sodium"
)
ACID_SOIL_CALCIUM_LIMITS = (20.0, 20.0)  # [meq/L] 10 mmol/L
ACID_SOIL_SODIUM_LIMITS = (2.0, 3.0)  # [meq/L] 46 and 69 mg/L, common practice, no source
EXTRACT_PER_WATER = 1.5  # FAO-29, from memory: extract over water at 15 to 20 % leaching

Limits = tuple[float, float]
"""Where nothing is commonly done up to, and where harm is to be expected from."""


@dataclass(frozen=True, slots=True)
class CropLimits:
    """What a kind of crop bears; None where nothing was found for it."""

    boron: Limits | None = None
    """mg/L."""
    chloride_extract: Limits | None = None
    """meq/L in the saturation extract: of its most and least sensitive cultivars or rootstocks."""
    needs_acid_soil: bool = False


# Boron: bands of Maas 1990 that were read, for blackberry, peach, cherry, plum, grape, citrus
# (lemon's own) and strawberry; of blackberry and lemon only "below 0.5" is known, and 0.3 is a
# [CHOICE]. Apricot, avocado, fig, pecan, walnut: the same table, from memory.
_VERY_SENSITIVE: Limits = (0.3, 0.5)
_SENSITIVE: Limits = (0.5, 0.75)
_STONE_FRUIT = CropLimits(_SENSITIVE, (7.5, 25.0))
CROP_LIMITS: Mapping[str, CropLimits] = MappingProxyType(
    {
        "blueberry": CropLimits(_SENSITIVE, (5.0, 7.5), needs_acid_soil=True),
        "raspberry": CropLimits(chloride_extract=(5.0, 5.0)),
        "blackberry": CropLimits(_VERY_SENSITIVE, (10.0, 10.0)),
        "boysenberry": CropLimits(_VERY_SENSITIVE, (10.0, 10.0)),
        "strawberry": CropLimits((0.75, 1.0), (5.0, 7.5)),
        "grape": CropLimits(_SENSITIVE, (10.0, 20.0)),
        "peach": _STONE_FRUIT,
        "apricot": _STONE_FRUIT,
        "plum": _STONE_FRUIT,
        "cherry": _STONE_FRUIT,
        "stone-fruit": _STONE_FRUIT,
        "pecan": CropLimits(_SENSITIVE),
        "walnut": CropLimits(_SENSITIVE),
        "avocado": CropLimits(_SENSITIVE, (5.0, 7.5)),
        "citrus": CropLimits(_VERY_SENSITIVE, (10.0, 25.0)),
    }
)
"""By the beginning of the crop's key."""

_RESTRICTION = ("none", "slight to moderate", "severe")
_NOTHING = "Usually no action needed."
_BORON_ADVICE = (
    _NOTHING,
    "This crop is harmed by little boron: give none, have leaves analyzed, let winter rain leach.",
    "More boron than this crop bears without loss: another source, blending, or another crop.",
)
_CHLORIDE_ADVICE = (
    _NOTHING,
    "Sensitive cultivars or rootstocks of this crop may burn: no chloride fertilizer, and leaves"
    " analyzed in late summer.",
    "More chloride than this crop bears without leaching by rain: another rootstock, blending, or"
    " another source.",
)
_ALKALINITY_ADVICE = (
    _NOTHING,
    "The soil slowly loses the acidity that this crop needs: measure its pH every year; sulfur, or"
    " acid in the water, is common.",
    "This water limes a soil that must stay acid: acid in the water, rain water or another source"
    " is commonly arranged before such a crop is planted.",
)
_EC_ADVICE = (
    _NOTHING,
    "Salt harms this crop early: little fertilizer at a time, and watch the EC that it reaches."
    " Emitters close to the plants, and mulch, keep salt out of the root zone.",
    "Too salty for this crop: another source, blending, or another crop.",
)
_SODIUM_ADVICE = (
    _NOTHING,
    "Sodium harms this crop early: have leaves analyzed; gypsum makes up for a part of it.",
    "More sodium than this crop commonly bears: another source or blending. Gypsum or acid in such"
    " a water did not mend it.",
)
_MUCH_CALCIUM = (
    "More calcium than was tried on this crop: look for its source, and judge by alkalinity and"
    " salinity."
)
_CALCIUM_ADVICE = (
    "Calcium by itself does no harm; what limes the soil is the alkalinity that comes with it: go"
    " by that, and give gypsum, never lime, where leaves lack calcium.",
    _MUCH_CALCIUM,
    _MUCH_CALCIUM,
)


def crop_limits(crop_key: str | None) -> CropLimits:
    """The limits of a crop.

    Shapes: one key.
    Returns: CropLimits; without any limit for a crop that nothing was found for, or for none.
    Source: ``CROP_LIMITS``.
    >>> crop_limits("peach-cover-frost").boron, crop_limits("kiwi").boron
    ((0.5, 0.75), None)
    """
    if crop_key is None:
        return CropLimits()
    found = [name for name in CROP_LIMITS if crop_key == name or crop_key.startswith(f"{name}-")]
    return CROP_LIMITS[max(found, key=len)] if found else CropLimits()


def crop_classes(analysis: WaterAnalysis, crop_key: str | None) -> tuple[WaterClass, ...]:
    """What a water is for one crop, property by property.

    Shapes: one analysis, one key.
    Returns: classes of the properties that are known and that the crop has limits for; empty
    without a crop.
    Source: the tables of this module, each class with its own.
    >>> [each.word for each in crop_classes(WaterAnalysis(boron_mg_per_l=0.65), "blackberry")]
    ['severe']
    """
    limits = crop_limits(crop_key)
    chloride = limits.chloride_extract
    in_water = (
        None
        if chloride is None
        else (chloride[0] / EXTRACT_PER_WATER, chloride[1] / EXTRACT_PER_WATER)
    )
    is_acid = limits.needs_acid_soil
    rows = (
        (
            "boron_mg_per_l", "Boron, for this crop", "mg/L", limits.boron, _BORON_ADVICE,
            ACID_SOIL_BORON if is_acid else MAAS_1990,
        ),
        (
            "chloride_meq_per_l", "Chloride, for this crop", "meq/L", in_water, _CHLORIDE_ADVICE,
            ACID_SOIL_CHLORIDE if is_acid else FAO_29_CHLORIDE,
        ),
        (
            "alkalinity_meq_per_l", "Alkalinity, for a crop of acid soils", "meq/L",
            (1.0, 2.0) if is_acid else None, _ALKALINITY_ADVICE, ACID_SOIL,
        ),
        (
            "ec_ds_m", "Salinity, for this crop", "dS/m", (0.5, 0.7) if is_acid else None,
            _EC_ADVICE, ACID_SOIL_EC,
        ),
        (
            "sodium_meq_per_l", "Sodium, for this crop", "meq/L",
            ACID_SOIL_SODIUM_LIMITS if is_acid else None, _SODIUM_ADVICE, ACID_SOIL_SODIUM,
        ),
        (
            "calcium_meq_per_l", "Calcium, for this crop", "meq/L",
            ACID_SOIL_CALCIUM_LIMITS if is_acid else None, _CALCIUM_ADVICE, ACID_SOIL_CALCIUM,
        ),
    )  # fmt: skip
    found = []
    for name, label, unit, edges, advice, source in rows:
        value = getattr(analysis, name)
        if edges is None or value is None:
            continue
        grade, limits_text = _grade(value, edges)
        found.append(
            WaterClass(
                name, label, value, unit, grade, _RESTRICTION[grade], limits_text, source,
                advice[grade],
            )
        )  # fmt: skip
    return tuple(found)


def _grade(value: float, edges: Limits) -> tuple[Grade, str]:
    low, high = edges
    grade = Grade.NONE if value < low else Grade.MODERATE if value <= high else Grade.SEVERE
    text = (
        f"none below {low:.2g}, slight to moderate {low:.2g} to {high:.2g}, severe above {high:.2g}"
    )
    return grade, text


def crop_texts() -> tuple[str, ...]:
    """Every text that a class of a crop may say, without its numbers: for translation.

    Shapes: result (texts,).
    Returns: labels and what is commonly done.
    Source: the tables of this module.
    """
    water = WaterAnalysis(
        boron_mg_per_l=0.0,
        chloride_meq_per_l=0.0,
        alkalinity_meq_per_l=0.0,
        ec_ds_m=0.0,
        sodium_meq_per_l=0.0,
        calcium_meq_per_l=0.0,
    )
    both = (*crop_classes(water, "peach"), *crop_classes(water, "blueberry"))
    advices = (
        _BORON_ADVICE, _CHLORIDE_ADVICE, _ALKALINITY_ADVICE, _EC_ADVICE, _SODIUM_ADVICE,
        _CALCIUM_ADVICE,
    )  # fmt: skip
    rows = [text for row in advices for text in row]
    return tuple(dict.fromkeys([*(each.label for each in both), *rows]))
