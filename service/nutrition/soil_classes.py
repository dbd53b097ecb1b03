"""The class of a soil extract, the season's P2O5 and K2O, and the exchange capacity of the bases.

In: an extract in mg/kg with its method, soil pH and exchange capacity; the leaf's classes. Out: a
class by a row of ``soil.toml``, kg/ha of P2O5 and K2O with the reason, cmolc/kg. Extracts of
different methods are not interchangeable, and a method that does not suit the soil gives no class.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import IntEnum

from service.nutrition.leaf_classes import LeafClass
from service.nutrition.tables import NutritionCrop, SoilRow, soil_tables

BLUEBERRY_K_SHARE = 0.5  # from memory: classes of potassium are half of those of other crops
BLUEBERRY_P_ENOUGH = 15.0  # from memory: Mehlich-3 above which blueberries rarely answer
COMMON_CEC = 8.0  # taken where the laboratory gives none
DRIP_PARTS = 4  # [CHOICE]: potassium on sand, since it leaches
MG_PER_CMOL = {"Ca": 200.4, "Mg": 121.5, "K": 391.0, "Na": 230.0}  # mg/kg in one cmolc/kg


class SoilClass(IntEnum):
    """Where an extract lies."""

    UNKNOWN = -1
    VERY_LOW = 0
    LOW = 1
    MEDIUM = 2
    OPTIMUM = 3
    HIGH = 4

    @property
    def word(self) -> str:
        """The class in words."""
        return "no class" if self is SoilClass.UNKNOWN else self.name.lower().replace("_", " ")


@dataclass(frozen=True, slots=True)
class SoilCard:
    """One nutrient of a soil test."""

    nutrient: str
    value: float
    """mg/kg."""
    soil_class: SoilClass
    edges: tuple[float, ...]
    source: str
    basis: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class OxideNeed:
    """P2O5 or K2O of a season."""

    oxide: str
    kg_per_ha: float
    parts: int
    """In how many parts, by drip."""
    reason: str


def soil_card(
    nutrient: str,
    value: float,
    crop: NutritionCrop,
    *,
    extractant: str,
    soil_ph: float | None,
    cec: float | None = None,
    chosen: Iterable[str] = (),
) -> SoilCard:
    """The class of one extract.

    Shapes: scalars.
    value: mg/kg. cec: meq/100 g; chosen: keys of rows to prefer.
    Returns: the card; no class where nothing is published for the method, or the method does not
    suit the soil's pH.
    Source: rows of ``soil.toml``; potassium of acid-loving crops at half, from memory.
    >>> from service.nutrition.tables import crops
    >>> soil_card("K", 70.0, crops()["highbush-blueberry"], extractant="mehlich-3", soil_ph=5.8,
    ...     cec=7.0, chosen=["k-heavier"]).soil_class.name
    'OPTIMUM'
    """
    rows = [
        row
        for row in soil_tables().rows
        if (row.nutrient, row.extractant) == (nutrient, extractant)
        and row.cec_from <= (COMMON_CEC if cec is None else cec) < row.cec_to
    ]
    if not rows:
        note = "No class: nothing is published here for this method."
        return SoilCard(nutrient, value, SoilClass.UNKNOWN, (), "", "", note)
    wanted = set(chosen)
    row = next((each for each in rows if each.key in wanted), rows[0])
    if soil_ph is not None and not row.ph_from <= soil_ph <= row.ph_to:
        note = f"No class: {extractant} does not suit a soil of pH {soil_ph:g}."
        return SoilCard(nutrient, value, SoilClass.UNKNOWN, (), _source_of(row), row.basis, note)
    is_halved = nutrient == "K" and crop.ph.is_acid
    edges = tuple(BLUEBERRY_K_SHARE * each if is_halved else each for each in row.edges)
    note = "Classes at half of the row's, as for blueberry, from memory." if is_halved else ""
    at = SoilClass(sum(value > edge for edge in edges))
    return SoilCard(nutrient, value, at, edges, _source_of(row), row.basis, note)


PLENTY_IN_LEAF = {
    LeafClass.HIGH: "The leaf test is high: none is planned.",
    LeafClass.EXCESS: "The leaf test is above the range, in excess: none is planned.",
}


def oxide_need(
    card: SoilCard,
    crop: NutritionCrop,
    *,
    leaf_class: LeafClass,
    is_sand: bool,
    removal_kg_per_ha: float = 0.0,
) -> OxideNeed:
    """P2O5 or K2O of a bearing season by the soil's class and the leaf's.

    Shapes: scalars.
    removal_kg_per_ha: K2O that the crop carries off, given at optimum.
    Returns: kg/ha of the oxide; half where the leaf is sufficient; none where the leaf is low and
    the soil is not, since roots, water and pH are then the question; none in excess.
    Source: amounts by class of ``soil.toml`` [CHOICE]; phosphorus of blueberry from memory.
    >>> from service.nutrition.tables import crops
    >>> low = SoilCard("K", 30.0, SoilClass.LOW, (), "", "")
    >>> oxide_need(low, crops()["apple-hard"], leaf_class=LeafClass.SUFFICIENT,
    ...     is_sand=False).kg_per_ha
    45.0
    """
    oxide = "P2O5" if card.nutrient == "P" else "K2O"
    at = card.soil_class
    if at is SoilClass.UNKNOWN:
        return OxideNeed(oxide, 0.0, 0, f"The soil test has no class: no {oxide} is planned.")
    if leaf_class in (LeafClass.HIGH, LeafClass.EXCESS):
        return OxideNeed(oxide, 0.0, 0, PLENTY_IN_LEAF[leaf_class])
    if card.nutrient == "P" and crop.ph.is_acid and card.value > BLUEBERRY_P_ENOUGH:
        text = f"Blueberries rarely respond above {BLUEBERRY_P_ENOUGH:g} mg/kg: none is planned."
        return OxideNeed(oxide, 0.0, 0, text)
    amount, removed = soil_tables().oxide_kg_per_ha[oxide][at], ""
    if at is SoilClass.OPTIMUM and oxide == "K2O":
        amount = removal_kg_per_ha
        if amount > 0.0:
            removed = f" The harvest carries off {amount:.1f} kg/ha of K2O."
    is_short = leaf_class in (LeafClass.DEFICIENT, LeafClass.LOW)
    if is_short and at >= SoilClass.OPTIMUM:
        text = (
            f"The leaf test is low though the soil test is {at.word}: look at roots, water and pH"
            " first; none is planned."
        )
        return OxideNeed(oxide, 0.0, 0, text)
    reason = f"The soil test is {at.word}.{removed}"
    if leaf_class is LeafClass.SUFFICIENT and at < SoilClass.OPTIMUM:
        amount *= 0.5
        reason += " The leaf test is sufficient, so half of it is enough."
    parts = 1
    if amount and oxide == "K2O" and crop.is_berry and is_sand:
        amount *= 0.5
        parts = DRIP_PARTS
        reason += f" Berries on sand get half of it, by drip in {DRIP_PARTS} parts or more."
    if amount and oxide == "K2O" and crop.is_chloride_sensitive:
        reason += " As sulfate, never chloride."
    return OxideNeed(oxide, amount, parts if amount else 0, reason)


def base_sum(values: Mapping[str, float], *, exchangeable_acidity: float = 0.0) -> float:
    """Exchange capacity from the bases and the acidity of a soil.

    Shapes: by nutrient, scalars.
    values: Ca, Mg, K, Na in mg/kg. exchangeable_acidity: cmolc/kg.
    Returns: cmolc/kg; too much on soils with free carbonate, which extracts dissolve.
    Equation: Ca/200.4 + Mg/121.5 + K/391 + Na/230 + acidity.
    >>> round(base_sum({"Ca": 800.0, "Mg": 120.0, "K": 78.0, "Na": 23.0}), 2)
    5.28
    """
    return exchangeable_acidity + sum(
        values[name] / weight for name, weight in MG_PER_CMOL.items() if name in values
    )


def _source_of(row: SoilRow) -> str:
    return f"{row.source}; {row.region}; table of {soil_tables().edition}"
