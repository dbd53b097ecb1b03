"""The class of each nutrient of a leaf or petiole, and what the balance between them says.

In: values by nutrient in the unit of their ranges, a row of ranges or the laboratory's own, and
whether the sample may be classed. Out: one card for each nutrient with its range, its source and
what would change its class; the most limiting first; and sentences on their balance. A nutrient
that was not measured is "not tested", never "sufficient". Class limits are this project's choice
unless the source gives its own; an excess never asks for another nutrient.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from service.nutrition.tables import MACROS, MICROS, LeafRow, NutritionCrop

MACRO_VARIATION = 0.06  # [CHOICE]: laboratory and sampling together, as a share of the value
MICRO_VARIATION = 0.12
DEFICIENT_SHARE = {"macro": 0.75, "micro": 0.70}  # [CHOICE]: of the lower end
EXCESS_SHARE = {"macro": 1.3, "micro": 2.0}  # [CHOICE]: of the upper end
CLOSE_FROM = 0.2  # chance of the other class from which "close to" is said
SURFACE_SHARE = 3.0  # from memory: Cu, Zn, Mn above this much of the upper end after sprays
DUST_IRON_PPM = 500.0  # from memory
SALT_LIMITS_PCT = {"Cl": 0.5, "Na": 0.25}  # from memory
STONE_FRUIT_CHLORIDE_PCT = 0.3  # University of California fruit report, second-hand
NOT_CONSIDERED = (
    "Not considered: disease, roots, spray residue, crop load, and what the laboratory knows of"
    " the place."
)


class LeafClass(IntEnum):
    """Where a value lies against its range."""

    UNKNOWN = 0
    """Not tested, no range, or a sample that may not be classed."""
    DEFICIENT = 1
    LOW = 2
    SUFFICIENT = 3
    HIGH = 4
    EXCESS = 5


SHORT = (LeafClass.DEFICIENT, LeafClass.LOW)


@dataclass(frozen=True, slots=True)
class NutrientCard:
    """One nutrient of one test."""

    nutrient: str
    value: float | None
    """None: not tested."""
    unit: str
    leaf_class: LeafClass
    word: str
    """The class in words, with "close to" where it might be the next."""
    low: float | None
    high: float | None
    deviation: float | None
    """From the middle of the range, % of it."""
    source: str
    basis: str
    """``read``, ``second-hand``, ``memory`` or ``laboratory``."""
    changes_at: tuple[float, ...]
    """Values at which the class would be another."""


@dataclass(frozen=True, slots=True)
class LeafResult:
    """What a test says."""

    cards: tuple[NutrientCard, ...]
    most_limiting: tuple[str, ...]
    """Nutrients below the middle of their range: those that are short, then by distance."""
    sentences: tuple[str, ...]


def class_limits(
    nutrient: str, low: float, high: float, row: LeafRow | None = None
) -> tuple[float, float, float, float]:
    """The four values that part the five classes.

    Shapes: scalars.
    Returns: below the first deficient, to the second low, to the third sufficient, to the fourth
    high, above it excess.
    Source: 0.75 L and 1.3 U for macros, 0.70 L and 2 U for micros [CHOICE]; the row's own limits
    before them.
    >>> class_limits("N", 1.7, 2.1)
    (1.275, 1.7, 2.1, 2.73)
    """
    kind = "micro" if nutrient in MICROS else "macro"
    own = row.deficient_below.get(nutrient) if row is not None else None
    lowest = DEFICIENT_SHARE[kind] * low if own is None else own
    own = row.excess_above.get(nutrient) if row is not None else None
    highest = EXCESS_SHARE[kind] * high if own is None else own
    return (round(lowest, 6), low, high, round(max(highest, high), 6))


def classify(value: float, limits: tuple[float, float, float, float]) -> LeafClass:
    """The class of a value.

    Shapes: scalars.
    Returns: the class; both ends of a range are sufficient.
    >>> classify(1.60, (1.275, 1.7, 2.1, 2.73)).name
    'LOW'
    """
    lowest, low, high, highest = limits
    if value < lowest:
        return LeafClass.DEFICIENT
    if value < low:
        return LeafClass.LOW
    if value <= high:
        return LeafClass.SUFFICIENT
    return LeafClass.HIGH if value <= highest else LeafClass.EXCESS


def chance_below(value: float, limit: float, variation: float) -> float:
    """The chance that the true value is below a limit.

    Shapes: scalars.
    variation: of laboratory and sampling, as a share of the value.
    Returns: 0 to 1.
    Equation: Phi((ln L - ln x) / s).
    >>> round(1.0 - chance_below(1.60, 1.70, 0.06), 2)
    0.16
    """
    if value <= 0.0:
        return 1.0
    return 0.5 * (1.0 + math.erf(math.log(limit / value) / variation / math.sqrt(2.0)))


def deviation_from_optimum(value: float, low: float, high: float) -> float:
    """How far a value is from the middle of its range.

    Shapes: scalars.
    Returns: % of the middle; negative: below.
    Source: DOP, Montanes et al. 1993, from memory: 100 (x / m - 1).
    >>> round(deviation_from_optimum(1.6, 1.7, 2.1), 1)
    -15.8
    """
    return 100.0 * (value / ((low + high) / 2.0) - 1.0)


def leaf_result(
    values: Mapping[str, float],
    crop: NutritionCrop,
    *,
    row: LeafRow | None,
    own_ranges: Mapping[str, tuple[float, float]] | None = None,
    is_classed: bool = True,
    is_less_certain: bool = False,
    censored: tuple[str, ...] = (),
    soil_ph: float | None = None,
) -> LeafResult:
    """The cards of a test, and what they say together.

    Shapes: by nutrient.
    values: % of macros, ppm of micros. own_ranges: the laboratory's, which come before the row's.
    is_classed, is_less_certain: as the check of the sample found. censored: nutrients below the
    laboratory's limit of detection, whose value is that limit.
    Returns: a card for each of the eleven nutrients, chloride and sodium where they were measured.
    Source: the row; classes [CHOICE] where the source has none of its own.
    >>> from service.nutrition.tables import crops, leaf_row
    >>> found = leaf_result({"N": 1.6}, crops()["highbush-blueberry"],
    ...     row=leaf_row("highbush-blueberry", "leaf", "mid-season", chosen=["highbush-michigan"]))
    >>> found.cards[0].word, found.cards[1].word
    ('low', 'not tested')
    """
    given = own_ranges or {}
    cards = []
    for name in (*MACROS, *MICROS):
        own = given.get(name)
        found = own if own is not None else None if row is None else row.ranges.get(name)
        source, basis = ("", "") if row is None else (_source_of(row), row.basis_of(name))
        if own is not None:
            source, basis = "the laboratory's own range", "laboratory"
        cards.append(
            _card(
                name,
                values.get(name),
                found,
                row=None if own is not None else row,
                source=source if found is not None else "",
                basis=basis if found is not None else "",
                is_classed=is_classed,
                variation=_variation(name, is_less_certain=is_less_certain),
                is_censored=name in censored,
            )
        )
    cards += [
        _salt_card(name, values[name], crop, is_classed)
        for name in SALT_LIMITS_PCT
        if name in values
    ]
    ordered = sorted(
        (each for each in cards if each.deviation is not None and each.deviation < 0.0),
        key=lambda each: (each.leaf_class not in SHORT, each.deviation or 0.0),
    )
    below = tuple(each.nutrient for each in ordered) if is_classed else ()
    return LeafResult(tuple(cards), below, _sentences(values, cards, crop, soil_ph))


def _variation(name: str, *, is_less_certain: bool) -> float:
    variation = MICRO_VARIATION if name in MICROS else MACRO_VARIATION
    return 2.0 * variation if is_less_certain and name in ("N", "K") else variation


def _card(
    name: str,
    value: float | None,
    found: tuple[float, float] | None,
    *,
    row: LeafRow | None,
    source: str,
    basis: str,
    is_classed: bool,
    variation: float,
    is_censored: bool,
) -> NutrientCard:
    unit = "ppm" if name in MICROS else "%"
    low, high = (None, None) if found is None else found
    unknown = LeafClass.UNKNOWN
    if value is None:
        return NutrientCard(
            name, None, unit, unknown, "not tested", low, high, None, source, basis, ()
        )
    if low is None or high is None:
        word = "no published range here"
        return NutrientCard(name, value, unit, unknown, word, None, None, None, "", "", ())
    away = deviation_from_optimum(value, low, high)
    if not is_classed:
        return NutrientCard(
            name, value, unit, unknown, "no class", low, high, away, source, basis, ()
        )
    limits = class_limits(name, low, high, row)
    if name in ("Cu", "Zn", "Mn") and value > max(SURFACE_SHARE * high, limits[3]):
        word = "surface, not tissue: spray residue is likely"
        return NutrientCard(
            name, value, unit, unknown, word, low, high, away, source, basis, limits
        )
    at = classify(value, limits)
    if is_censored and at > LeafClass.LOW:
        word = "below what the laboratory can detect, which is no class here"
        return NutrientCard(
            name, value, unit, unknown, word, low, high, away, source, basis, limits
        )
    word = _word(value, at, limits, variation)
    if is_censored:
        word += " (below the limit of detection)"
    return NutrientCard(name, value, unit, at, word, low, high, away, source, basis, limits)


def _word(
    value: float, at: LeafClass, limits: tuple[float, float, float, float], variation: float
) -> str:
    """The class, with the neighbour that it might as well be."""
    word = at.name.lower()
    place = int(at) - 1
    if place > 0 and CLOSE_FROM <= chance_below(value, limits[place - 1], variation) <= 0.5:
        return f"{word}, close to {LeafClass(at - 1).name.lower()}"
    if place < 4 and CLOSE_FROM <= 1.0 - chance_below(value, limits[place], variation) <= 0.5:
        return f"{word}, close to {LeafClass(at + 1).name.lower()}"
    return word


def _salt_card(name: str, value: float, crop: NutritionCrop, is_classed: bool) -> NutrientCard:
    limit, source, basis = SALT_LIMITS_PCT[name], "from memory", "memory"
    if name == "Cl" and crop.is_stone_fruit:
        limit, source, basis = STONE_FRUIT_CHLORIDE_PCT, "University of California", "second-hand"
    at = LeafClass.UNKNOWN
    if is_classed:
        at = LeafClass.EXCESS if value > limit else LeafClass.SUFFICIENT
    word = {LeafClass.UNKNOWN: "no class", LeafClass.EXCESS: "excess: salt"}.get(at, "harmless")
    return NutrientCard(name, value, "%", at, word, 0.0, limit, None, source, basis, (limit,))


def _source_of(row: LeafRow) -> str:
    return f"{row.source}; {row.region}; table of {row.edition}"


def _sentences(
    values: Mapping[str, float],
    cards: list[NutrientCard],
    crop: NutritionCrop,
    soil_ph: float | None,
) -> tuple[str, ...]:
    """What the nutrients say together; from memory, and never a dose."""
    at = {each.nutrient: each.leaf_class for each in cards}
    said = []

    def share(first: str, second: str) -> float | None:
        below = values.get(second)
        return values[first] / below if first in values and below else None

    def is_short(name: str) -> bool:
        return at.get(name) in SHORT

    ratio = share("N", "S")
    if ratio is not None and ratio > 18.0 and is_short("S"):
        said.append(f"N to S is {ratio:.0f} to 1, above 18, with sulfur low: sulfur is short.")
    ratio = share("K", "Mg")
    if ratio is not None and ratio > 8.0 and is_short("Mg"):
        said.append(
            f"K to Mg is {ratio:.0f} to 1, above 8, with magnesium low: potassium may be what keeps"
            " magnesium out."
        )
    if "P" in values and values.get("Zn") and is_short("Zn"):
        ratio = 10_000.0 * values["P"] / values["Zn"]
        if ratio > 150.0:
            said.append(
                f"P to Zn is {ratio:.0f} to 1, above 150: phosphorus may be what keeps zinc out."
            )
    if crop.ph.is_acid and at.get("Mn") == LeafClass.EXCESS:
        known = "" if soil_ph is None else f" It was {soil_ph:g}."
        said.append(
            "Manganese in excess in blueberry: the soil may be too acid (below 4.3) or wet. Check"
            f" soil pH before anything else.{known}"
        )
    if at.get("Fe") == LeafClass.SUFFICIENT and crop.ph.is_acid:
        said.append(
            "Iron that is sufficient on paper with yellow young leaves points to pH or bicarbonate:"
            " total iron misleads."
        )
    if values.get("Fe", 0.0) > DUST_IRON_PPM and values.get("Al", 0.0) > DUST_IRON_PPM:
        said.append("Iron and aluminum are both high: soil dust on the leaf.")
    if LeafClass.EXCESS in (at.get("Cl"), at.get("Na")):
        said.append(
            "Chloride or sodium is at a level that harms: look at water, salt and drainage."
        )
    if at.get("B") == LeafClass.EXCESS:
        said.append("Boron is at a poisonous level: no boron in any form, and test water and soil.")
    if any(each is LeafClass.EXCESS for each in at.values()):
        said.append(
            "What is in excess is left out of the plan; it never calls for another nutrient."
        )
    return (*said, NOT_CONSIDERED)
