"""One block's season out of its tests: nitrogen with dates, P2O5 and K2O, soil pH, next samples.

In: the facts of a block and its place, the results of its leaf and soil tests, its water, what it
was given last season. Out: every line with its reason and source, amounts in kg/ha, lb/ac and kg
for the block, the gaps where a step lacks its data, and what was not considered. The laboratory's
own recommendation comes first; nothing here is put in its place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from service.nutrition.leaf_classes import SHORT, LeafClass, LeafResult
from service.nutrition.nitrogen_need import (
    Credit,
    NitrogenNeed,
    organic_credit,
    season_nitrogen,
    water_credit,
)
from service.nutrition.nutrient_dates import (
    LARGEST_DRIP_ON_SAND_KG_PER_HA,
    LARGEST_DRY_KG_PER_HA,
    LastNitrogen,
    cut_to,
    date_nitrogen,
    last_nitrogen_day,
)
from service.nutrition.sampling import OpenWindow, next_window
from service.nutrition.season_facts import SeasonFacts
from service.nutrition.soil_classes import OxideNeed, SoilCard, oxide_need, soil_card
from service.nutrition.soil_ph import (
    KG_CARBONATE_PER_KG_SULFUR,
    LimePlan,
    SulfurPlan,
    alkalinity_load,
    lime_plan,
    nitrogen_acidity,
    sulfur_plan,
    texture_of_cec,
)
from service.unit_sizes import LB_PER_AC_PER_KG_PER_HA, M2_PER_HECTARE

NEUTRAL_KG_PER_HA = 50.0  # [CHOICE]: a balance smaller than this is no direction
ORGANIC_SOIL_PCT = 20.0  # from memory: organic matter from which a soil is not a mineral one
NOT_MADE_UP_FOR = (
    "The season is under way: the parts before today are taken as given and are not made up for."
)
CHLORIDE_CALCIUM_NOTE = (
    "pH was measured in calcium chloride, which reads 0.5 to 1.0 below pH in water in most soils:"
    " the targets here are for water."
)
ACIDIFIED_WORDS = (
    "The water is counted with the alkalinity that is left after acid: the acid takes the place of"
    " sulfur against the water, never as a promise of soil pH, and only while it is dosed. The"
    " cautions of an acid estimate hold."
)
_SHORT_WORDS: Mapping[str, str] = {
    "Mg": "Magnesium is short: magnesium sulfate at the laboratory's rate.",
    "B": "Boron is short: on the leaf by the label, never on soil and leaf both; a little too much"
    " is poison.",
    "Ca": "Calcium is short: look at water and pH first; gypsum gives calcium without moving pH.",
    "S": "Sulfur is short: sulfates among the fertilizers bring it.",
    "Fe": "Iron is short: look at soil pH and bicarbonate before any iron.",
    "Mn": "Manganese is short: look at soil pH first, then a leaf spray by the label.",
    "Zn": "Zinc is short: a leaf spray by the label.",
    "Cu": "Copper is short: a leaf spray by the label; fungicides may bring it.",
}


@dataclass(frozen=True, slots=True)
class PlannedPart:
    """Nitrogen of one day."""

    day: date
    kg_per_ha: float
    lb_per_ac: float
    block_kg: float
    product_kg: float | None
    """Over the block; None where no product is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonPlan:
    """A season's plan; every amount is over planted ground unless it says otherwise."""

    season_year: int
    nitrogen: NitrogenNeed | None
    parts: tuple[PlannedPart, ...]
    last_nitrogen: LastNitrogen | None
    soil_cards: tuple[SoilCard, ...]
    oxides: tuple[OxideNeed, ...]
    others: tuple[str, ...]
    """Nutrients that are short: a sentence each, no dose."""
    ph: float | None
    ph_target: float
    sulfur: SulfurPlan | None
    lime: LimePlan | None
    carbonate_balance_kg_per_ha: float | None
    """Of water and nitrogen: positive lifts pH."""
    balance_words: tuple[str, ...]
    next_leaf: OpenWindow | None
    gaps: tuple[str, ...]
    notes: tuple[str, ...]


def season_plan(facts: SeasonFacts) -> SeasonPlan:
    """The plan of a season.

    Shapes: one block.
    Returns: all its lines; a step that lacks data is named in ``gaps`` and stops there.
    Source: the parts, each in its own module.
    """
    gaps: list[str] = []
    need, dated, last = _nitrogen(facts, gaps)
    ahead = tuple(each for each in dated if each.day >= facts.today)
    if len(ahead) < len(dated):
        # Made up for in what is left, a season's nitrogen would come down at once.
        gaps.append(NOT_MADE_UP_FOR)
    cards, oxides = _soil_nutrients(facts, gaps)
    ph, target, sulfur, lime = _soil_ph(facts, gaps)
    balance, words = _balance(facts, 0.0 if need is None else need.total_kg_per_ha)
    return SeasonPlan(
        season_year=facts.season_year,
        nitrogen=need,
        parts=ahead,
        last_nitrogen=last,
        soil_cards=cards,
        oxides=oxides,
        others=_others(facts),
        ph=ph,
        ph_target=target,
        sulfur=sulfur,
        lime=lime,
        carbonate_balance_kg_per_ha=balance,
        balance_words=words,
        next_leaf=next_window(facts.crop, facts.today, facts.latitude_deg),
        gaps=tuple(gaps),
        notes=_notes(facts, need, dated),
    )


def _nitrogen(
    facts: SeasonFacts, gaps: list[str]
) -> tuple[NitrogenNeed | None, tuple[PlannedPart, ...], LastNitrogen | None]:
    crop = facts.crop
    last = last_nitrogen_day(
        crop, facts.season_year, facts.latitude_deg, own_day=facts.own_last_nitrogen
    )
    if crop.nitrogen is None and facts.base_kg_per_ha is None:
        gaps.append("No nitrogen is published here for this crop: give a base.")
        return None, (), last
    if facts.last_season_kg_per_ha is None:
        gaps.append("Last season's nitrogen is not known: the change from it is not held to 30 %.")
    at = _leaf_class(facts.leaf, "N")
    if at is LeafClass.UNKNOWN:
        gaps.append("No class of leaf nitrogen: the base is not changed by a leaf.")
    need = season_nitrogen(
        crop,
        age_years=facts.age_years,
        base_kg_per_ha=facts.base_kg_per_ha,
        leaf_class=at,
        vigour=facts.vigour,
        credits=_credits(facts, gaps),
        last_season_kg_per_ha=facts.last_season_kg_per_ha,
        removal_kg_per_ha=facts.removal_kg_per_ha,
        legal_cap_kg_per_ha=facts.legal_cap_kg_per_ha,
    )
    is_sand = _texture(facts) in ("sand", "loamy-sand")
    whole = date_nitrogen(
        need.before_legal_cap_kg_per_ha,
        crop,
        year=facts.season_year,
        latitude_deg=facts.latitude_deg,
        last_day=None if last is None else last.day,
        largest_kg_per_ha=LARGEST_DRIP_ON_SAND_KG_PER_HA
        if is_sand and not facts.is_spread_dry
        else LARGEST_DRY_KG_PER_HA,
    )
    parts = cut_to(whole, need.total_kg_per_ha)
    area_ha = facts.area_m2 / M2_PER_HECTARE
    share = None if facts.product is None else facts.product.nitrogen_fraction
    return (
        need,
        tuple(
            PlannedPart(
                each.day,
                each.kg_per_ha,
                each.kg_per_ha * LB_PER_AC_PER_KG_PER_HA,
                each.kg_per_ha * area_ha,
                None if not share else each.kg_per_ha * area_ha / share,
            )
            for each in parts
        ),
        last,
    )


def _credits(facts: SeasonFacts, gaps: list[str]) -> list[Credit]:
    water, found = facts.water, []
    if water.nitrate_nitrogen_mg_per_l is None:
        gaps.append("No nitrate of the water: no credit for it.")
    elif water.planned_mm is None:
        gaps.append("The season's depth of water is not known: no credit for its nitrate.")
    else:
        found.append(
            water_credit(water.nitrate_nitrogen_mg_per_l, water.planned_mm, is_old=water.is_old)
        )
    organic = None if facts.soil is None else facts.soil.values.get("organic-matter")
    if organic is None and not facts.sawdust_depth_cm:
        gaps.append("No organic matter: no credit for it.")
    else:
        found.append(
            organic_credit(
                organic or 0.0, facts.planted_share, sawdust_depth_cm=facts.sawdust_depth_cm
            )
        )
    return found


def _texture(facts: SeasonFacts) -> str | None:
    soil = facts.soil
    if soil is None:
        return None
    if soil.texture is not None:
        return soil.texture
    cec = soil.values.get("cec")
    return None if cec is None else texture_of_cec(cec)


def _leaf_class(leaf: LeafResult | None, nutrient: str) -> LeafClass:
    cards = () if leaf is None else leaf.cards
    return next((each.leaf_class for each in cards if each.nutrient == nutrient), LeafClass.UNKNOWN)


def _soil_nutrients(
    facts: SeasonFacts, gaps: list[str]
) -> tuple[tuple[SoilCard, ...], tuple[OxideNeed, ...]]:
    soil = facts.soil
    if soil is None:
        gaps.append("No soil test: nothing is planned of P, K and pH.")
        return (), ()
    cards = [
        soil_card(
            name,
            soil.values[name],
            facts.crop,
            extractant="hot-water" if name == "B" else soil.extractant,
            soil_ph=soil.values.get("pH"),
            cec=soil.values.get("cec"),
            chosen=facts.chosen_rows,
        )
        for name in ("P", "K", "Mg", "B")
        if name in soil.values
    ]
    is_sand = _texture(facts) in ("sand", "loamy-sand")
    oxides = [
        oxide_need(
            card,
            facts.crop,
            leaf_class=_leaf_class(facts.leaf, name),
            is_sand=is_sand,
            removal_kg_per_ha=facts.k2o_removal_kg_per_ha,
        )
        for card in cards
        if (name := card.nutrient) in ("P", "K")
    ]
    gaps += [
        f"No {name} in the soil test: none is planned."
        for name in ("P", "K")
        if name not in soil.values
    ]
    return tuple(cards), tuple(oxides)


def _soil_ph(
    facts: SeasonFacts, gaps: list[str]
) -> tuple[float | None, float, SulfurPlan | None, LimePlan | None]:
    target = facts.crop.ph.target if facts.ph_target is None else facts.ph_target
    soil = facts.soil
    if soil is None:
        return None, target, None, None
    ph = soil.values.get("pH")
    if ph is None:
        gaps.append("No soil pH: no plan of it.")
        return None, target, None, None
    sulfur = lime = None
    if facts.crop.ph.is_acid and ph > target:
        texture = _texture(facts)
        if texture is None and "buffer-capacity" not in soil.values:
            gaps.append("Neither texture nor exchange capacity: no plan of sulfur.")
        else:
            sulfur = sulfur_plan(
                ph,
                target,
                texture or "loam",
                is_established=facts.age_years >= 1,
                organic_pct=soil.values.get("organic-matter"),
                buffer_capacity=soil.values.get("buffer-capacity"),
                carbonate_pct=soil.values.get("calcium-carbonate"),
                water_alkalinity_mg_per_l=facts.water.alkalinity_mg_per_l,
                is_plastic=facts.is_plastic,
            )
    elif ph < target - 0.3:
        acidity = soil.values.get("exchangeable-acidity")
        if acidity is None:
            gaps.append("The soil is below the target: lime needs the laboratory's buffer or tons.")
        else:
            lime = lime_plan(
                ph,
                target,
                acidity,
                recent_lime_tons_per_ac=facts.recent_lime_tons_per_ac,
                months_since=facts.months_since_lime,
                soil_kind="organic"
                if soil.values.get("organic-matter", 0.0) >= ORGANIC_SOIL_PCT
                else "mineral",
            )
    return ph, target, sulfur, lime


def _balance(facts: SeasonFacts, nitrogen_kg_per_ha: float) -> tuple[float | None, tuple[str, ...]]:
    """Lime that the water brings, less what the nitrogen uses up; a direction and no more."""
    water = facts.water
    if water.alkalinity_mg_per_l is None or water.planned_mm is None:
        return None, ()
    brought = alkalinity_load(water.alkalinity_mg_per_l, water.planned_mm)
    sulfur = brought / KG_CARBONATE_PER_KG_SULFUR
    words = [] if water.acidified_ph is None else [ACIDIFIED_WORDS]
    words.append(
        f"Water brings {brought:.0f} kg/ha of CaCO3 a season: {sulfur:.0f} kg/ha of sulfur to stand"
        " still."
    )
    if water.acid_carbonate_kg_per_ha > 0.0:
        words.append(
            f"Acid of the last year used up {water.acid_carbonate_kg_per_ha:.0f} kg/ha of it."
        )
        brought -= water.acid_carbonate_kg_per_ha
    used = None
    if facts.product is not None:
        used = nitrogen_acidity(facts.product.key, nitrogen_kg_per_ha)
    if used is None:
        return brought, (*words, "The fertilizer's part is not known.")
    net = brought - used
    words.append(f"{facts.product.name if facts.product else ''} uses up {used:.0f} kg/ha.")
    if abs(net) < NEUTRAL_KG_PER_HA:
        words.append("Water takes back what the fertilizer acidifies: no direction.")
    else:
        way = "rise" if net > 0.0 else "fall"
        words.append(f"Soil pH should {way}; two soil tests must confirm it.")
    return net, tuple(words)


def _others(facts: SeasonFacts) -> tuple[str, ...]:
    return tuple(
        text for name, text in _SHORT_WORDS.items() if _leaf_class(facts.leaf, name) in SHORT
    )


def _notes(
    facts: SeasonFacts, need: NitrogenNeed | None, parts: Sequence[PlannedPart]
) -> tuple[str, ...]:
    notes = list(need.notes) if need is not None else []
    given = sum(each.kg_per_ha for each in parts)
    if need is not None and parts and need.total_kg_per_ha < need.before_legal_cap_kg_per_ha:
        notes.append(
            f"Law or the nutrient management plan allows {need.total_kg_per_ha:.1f} kg/ha: the"
            " season is shortened from its last part backwards."
        )
    if need is not None and given < need.total_kg_per_ha - 0.05:
        notes.append(
            f"Only {given:.1f} of {need.total_kg_per_ha:.1f} kg/ha of nitrogen fit before its last"
            " date: the rest is not given."
        )
    product = facts.product
    if product is not None and product.is_nitrate and facts.crop.prefers_ammonium:
        notes.append("This product holds nitrate: blueberries take up ammonium better.")
    if facts.soil is not None and facts.soil.ph_method == "calcium-chloride":
        notes.append(CHLORIDE_CALCIUM_NOTE)
    notes.append(
        "State law, nutrient management plans and labels stand above this plan, and the"
        " laboratory's own recommendation comes first."
    )
    return tuple(notes)
