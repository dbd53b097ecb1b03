"""Nitrogen of a season: base by age, the leaf's class, vigour, credits, caps.

In: crop, age, class of leaf nitrogen, shoots, credits of water and soil, last season's amount.
Out: one line for each step with its amount and reason, and the total in kg/ha of planted ground.
More leaf nitrogen never gives more, nor does a larger credit. Factors and caps are this project's
choice unless a source stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from service.nutrition.leaf_classes import LeafClass
from service.nutrition.tables import NutritionCrop

LEAF_FACTORS = {  # [CHOICE]
    LeafClass.UNKNOWN: 1.0,
    LeafClass.DEFICIENT: 1.25,
    LeafClass.LOW: 1.12,
    LeafClass.SUFFICIENT: 1.0,
    LeafClass.HIGH: 0.8,
    LeafClass.EXCESS: 0.0,
}
VIGOUR_FACTORS = {"short": 1.10, "normal": 1.0, "long": 0.8}  # [CHOICE]
LARGEST_CREDIT_SHARE = 0.6  # [CHOICE]: of the need, unless a leaf test supports more
LARGEST_CHANGE = 0.3  # [CHOICE]: from last season's amount
WATER_EFFICIENCY = 0.8  # [CHOICE]
OLD_WATER_SHARE = 0.5  # [CHOICE]: of a test older than a year
KG_PER_HA_PER_ORGANIC_PCT = 20.0  # from memory, 10 to 30
SAWDUST_KG_PER_HA_PER_5_CM = 25.0  # from memory, 15 to 50, in its first year


@dataclass(frozen=True, slots=True)
class NeedLine:
    """One step of the need."""

    key: str
    kg_per_ha: float
    """What the step gives, takes or, for the total, leaves."""
    reason: str


@dataclass(frozen=True, slots=True)
class Credit:
    """Nitrogen that comes from elsewhere; negative: it takes some."""

    key: str
    kg_per_ha: float
    reason: str


@dataclass(frozen=True, slots=True)
class NitrogenNeed:
    """Nitrogen of a season."""

    lines: tuple[NeedLine, ...]
    total_kg_per_ha: float
    notes: tuple[str, ...]
    before_legal_cap_kg_per_ha: float
    """The total as it would be without law or nutrient management plan."""


def nitrogen_base(crop: NutritionCrop, age_years: int) -> tuple[float, float]:
    """Nitrogen by age before any test, and the most that is ever planned.

    Shapes: scalars.
    age_years: 1 in the year of planting.
    Returns: kg/ha, the middle of what the source names; and the cap at that age.
    Equation: middle = (least + most) / 2.
    >>> from service.nutrition.tables import crops
    >>> nitrogen_base(crops()["highbush-blueberry"], 2)
    (17.0, 50.0)
    """
    rule = crop.nitrogen
    if rule is None:
        return 0.0, 0.0
    _, least, most = [row for row in rule.base if row[0] <= max(age_years, 1)][-1]
    cap = [most_kg for first, most_kg in rule.cap if first <= max(age_years, 1)][-1]
    return (least + most) / 2.0, cap


def water_credit(
    nitrate_nitrogen_mg_per_l: float, planned_mm: float, *, is_old: bool = False
) -> Credit:
    """Nitrogen that the season's water brings.

    Shapes: scalars.
    is_old: the water test is older than a year.
    Returns: the credit [kg/ha].
    Equation: 0.01 x mg/L x mm x 0.8, half of it by an old test.
    >>> round(water_credit(4.0, 250.0).kg_per_ha, 1)
    8.0
    """
    whole = 0.01 * nitrate_nitrogen_mg_per_l * planned_mm
    share = WATER_EFFICIENCY * (OLD_WATER_SHARE if is_old else 1.0)
    text = (
        f"Water: {nitrate_nitrogen_mg_per_l:g} mg/L of nitrate nitrogen in {planned_mm:.0f} mm"
        f" bring {whole:.1f} kg/ha, of which {100 * share:.0f} % count."
    )
    if is_old:
        text += " The water test is older than a year: half."
    if nitrate_nitrogen_mg_per_l > 10.0:
        text += " Above 10 mg/L it is also a matter of drinking water."
    return Credit("water", share * whole, text)


def organic_credit(
    organic_pct: float, planted_share: float, *, sawdust_depth_cm: float = 0.0
) -> Credit:
    """Nitrogen that organic matter gives off, less what fresh sawdust takes.

    Shapes: scalars.
    organic_pct: of the top 15 cm. planted_share: of the ground that is managed.
    Returns: the credit [kg/ha]; negative under new mulch of sawdust or bark.
    Source: 20 kg/ha a percent (10 to 30), 25 kg/ha per 5 cm of fresh sawdust, from memory.
    >>> round(organic_credit(2.0, 0.33).kg_per_ha, 1)
    13.2
    """
    given = KG_PER_HA_PER_ORGANIC_PCT * organic_pct * planted_share
    taken = SAWDUST_KG_PER_HA_PER_5_CM * sawdust_depth_cm / 5.0
    text = (
        f"Organic matter: {organic_pct:g} % over {100 * planted_share:.0f} % of the ground"
        " (20 kg/ha a percent, from memory)."
    )
    if sawdust_depth_cm > 0.0:
        text += (
            f" Fresh sawdust of {sawdust_depth_cm:g} cm takes {taken:.0f} kg/ha in its first year."
        )
    return Credit("organic-matter", given - taken, text)


def season_nitrogen(
    crop: NutritionCrop,
    *,
    age_years: int,
    base_kg_per_ha: float | None = None,
    leaf_class: LeafClass = LeafClass.UNKNOWN,
    vigour: str = "normal",
    credits: Sequence[Credit] = (),
    last_season_kg_per_ha: float | None = None,
    removal_kg_per_ha: float = 0.0,
    legal_cap_kg_per_ha: float | None = None,
) -> NitrogenNeed:
    """Nitrogen to give in a season.

    Shapes: scalars; credits (credits,).
    age_years: 1 in the year of planting. base_kg_per_ha: of the grower or adviser, before the
    table's. vigour: ``short``, ``normal`` or ``long`` shoots against what the crop should make.
    removal_kg_per_ha: what the crop carries off, below which the need does not fall.
    legal_cap_kg_per_ha: of law or nutrient management plan, above everything.
    Returns: lines and total.
    Source: base and cap of ``crops.toml``; factors, credit share and change per year [CHOICE].
    >>> from service.nutrition.tables import crops
    >>> found = season_nitrogen(crops()["highbush-blueberry"], age_years=6, base_kg_per_ha=55.0,
    ...     leaf_class=LeafClass.LOW, credits=[Credit("all", 21.2, "")], last_season_kg_per_ha=55.0)
    >>> round(found.total_kg_per_ha, 1)
    40.4
    """
    table_base, cap = nitrogen_base(crop, age_years)
    is_own = base_kg_per_ha is not None
    base = table_base if base_kg_per_ha is None else base_kg_per_ha
    source = "given" if is_own else (crop.nitrogen.source if crop.nitrogen else "nothing published")
    lines = [NeedLine("base", base, f"Base for year {age_years}: {source}.")]
    if leaf_class is LeafClass.EXCESS and age_years > 1:
        text = "The leaf has nitrogen in excess: none this season."
        return NitrogenNeed((*lines, NeedLine("total", 0.0, text)), 0.0, (), 0.0)
    factor, reason = _factor(leaf_class, vigour, age_years)
    lines.append(NeedLine("leaf-and-vigour", base * factor - base, reason))
    need = max(base * factor, removal_kg_per_ha)
    if need > base * factor:
        text = f"The harvest carries off {removal_kg_per_ha:.1f} kg/ha: the need is no less."
        lines.append(NeedLine("harvest", need - base * factor, text))
    counted = min(sum(each.kg_per_ha for each in credits), LARGEST_CREDIT_SHARE * need)
    lines += [NeedLine(each.key, -each.kg_per_ha, each.reason) for each in credits]
    if counted < sum(each.kg_per_ha for each in credits):
        text = f"Credits count up to {100 * LARGEST_CREDIT_SHARE:.0f} % of the need."
        lines.append(NeedLine("credit-cap", sum(c.kg_per_ha for c in credits) - counted, text))
    total = max(need - counted, 0.0)
    before_legal = total = _capped(
        total, lines, last_season_kg_per_ha, cap if crop.nitrogen else math.inf
    )
    if legal_cap_kg_per_ha is not None and total > legal_cap_kg_per_ha:
        text = f"Law or the nutrient management plan: {legal_cap_kg_per_ha:.1f} kg/ha."
        lines.append(NeedLine("legal-cap", legal_cap_kg_per_ha - total, text))
        total = legal_cap_kg_per_ha
    lines.append(NeedLine("total", total, "Nitrogen of the season, over planted ground."))
    return NitrogenNeed(tuple(lines), total, _notes(crop, age_years), before_legal)


def _capped(total: float, lines: list[NeedLine], last_season: float | None, cap: float) -> float:
    """The total within last season's amount, then within the cap; each that holds is a line."""
    if last_season is not None:
        low, high = ((1.0 + sign * LARGEST_CHANGE) * last_season for sign in (-1.0, 1.0))
        held = min(max(total, low), high)
        if held != total:
            text = (
                f"Last season had {last_season:.1f} kg/ha; a perennial answers over two seasons, so"
                f" that a year changes it by {100 * LARGEST_CHANGE:.0f} % at most."
            )
            lines.append(NeedLine("change-cap", held - total, text))
            total = held
    if total > cap:
        text = f"The most that is planned at this age: {cap:g} kg/ha."
        lines.append(NeedLine("age-cap", cap - total, text))
        total = cap
    return total


def _factor(leaf_class: LeafClass, vigour: str, age_years: int) -> tuple[float, str]:
    if age_years <= 1:
        return 1.0, "Planted this year: a leaf test changes nothing."
    by_leaf, by_shoots = LEAF_FACTORS[leaf_class], VIGOUR_FACTORS[vigour]
    if leaf_class is LeafClass.UNKNOWN:
        text = "No class of leaf nitrogen: the base stands"
        if vigour != "normal":
            return by_shoots, f"{text}, changed by {vigour} shoots to {by_shoots:.0%}."
        return 1.0, f"{text}."
    if (by_leaf - 1.0) * (by_shoots - 1.0) < 0.0:
        return 1.0, (
            f"Leaf nitrogen is {leaf_class.name.lower()} but shoots are {vigour}: they disagree, so"
            " nothing is changed."
        )
    return by_leaf * by_shoots, (
        f"Leaf nitrogen is {leaf_class.name.lower()} and shoots are {vigour}:"
        f" {by_leaf * by_shoots:.0%} of the base."
    )


def _notes(crop: NutritionCrop, age_years: int) -> tuple[str, ...]:
    notes = ["A perennial reacts over two seasons: never adjust twice on one sample."]
    if crop.ph.is_acid and age_years <= 2:
        notes.append(
            "Young blueberries are killed by too much: 50 kg/ha was best and 100 and 150 kg/ha"
            " killed 17 to 55 % of the plants (Bañados and others 2012)."
        )
    return tuple(notes)
