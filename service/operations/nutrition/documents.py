"""Tests and plans as plain values, the same for the command line and the API."""

from __future__ import annotations

from typing import Any

from service.nutrition.leaf_classes import NutrientCard
from service.nutrition.soil_classes import SoilCard
from service.operations.nutrition.plan_nutrients import NutrientPlan
from service.operations.nutrition.record_tests import NutrientReport


def report_document(report: NutrientReport) -> dict[str, Any]:
    """A test with what it says."""
    test = report.test
    return {
        "block_id": test.block_id,
        "day": test.day,
        "kind": test.kind,
        "crop": test.crop,
        "tissue": test.tissue,
        "stage": test.stage,
        "leaf_count": test.leaf_count,
        "laboratory": test.laboratory,
        "recommendation": test.recommendation,
        "tables_edition": test.tables_edition,
        "range_row": None if report.row is None else report.row.key,
        "is_classed": report.check is None or report.check.is_classed,
        "notes": [*(() if report.check is None else report.check.notes), *report.notes],
        "values": dict(report.values),
        "cards": [] if report.leaf is None else [card_document(c) for c in report.leaf.cards],
        "soil_cards": [soil_document(each) for each in report.soil],
        "most_limiting": [] if report.leaf is None else list(report.leaf.most_limiting),
        "sentences": [] if report.leaf is None else list(report.leaf.sentences),
    }


def card_document(card: NutrientCard) -> dict[str, Any]:
    """One nutrient of a leaf."""
    return {
        "nutrient": card.nutrient,
        "value": card.value,
        "unit": card.unit,
        "leaf_class": card.leaf_class.name.lower(),
        "word": card.word,
        "low": card.low,
        "high": card.high,
        "deviation": card.deviation,
        "source": card.source,
        "basis": card.basis,
        "changes_at": list(card.changes_at),
    }


def soil_document(card: SoilCard) -> dict[str, Any]:
    """One nutrient of a soil."""
    return {
        "nutrient": card.nutrient,
        "value": card.value,
        "soil_class": card.soil_class.name.lower().replace("_", "-"),
        "edges": list(card.edges),
        "source": card.source,
        "basis": card.basis,
        "note": card.note,
    }


def plan_document(found: NutrientPlan) -> dict[str, Any]:
    """A season's plan."""
    plan, last = found.plan, found.plan.last_nitrogen
    nitrogen = plan.nitrogen
    return {
        "block_id": found.block_id,
        "crop": found.crop.key,
        "season_year": plan.season_year,
        "leaf_day": None if found.leaf is None else found.leaf.test.day,
        "soil_day": None if found.soil is None else found.soil.test.day,
        "recommendations": list(found.recommendations),
        "nitrogen_kg_per_ha": None if nitrogen is None else nitrogen.total_kg_per_ha,
        "nitrogen_lines": []
        if nitrogen is None
        else [
            {"key": line.key, "kg_per_ha": line.kg_per_ha, "reason": line.reason}
            for line in nitrogen.lines
        ],
        "product": None if found.facts.product is None else found.facts.product.key,
        "parts": [
            {
                "day": part.day,
                "kg_per_ha": part.kg_per_ha,
                "lb_per_ac": part.lb_per_ac,
                "block_kg": part.block_kg,
                "product_kg": part.product_kg,
            }
            for part in plan.parts
        ],
        "last_nitrogen_day": None if last is None else last.day,
        "last_nitrogen_origin": "" if last is None else last.origin,
        "soil_cards": [soil_document(each) for each in plan.soil_cards],
        "oxides": [
            {
                "oxide": each.oxide,
                "kg_per_ha": each.kg_per_ha,
                "parts": each.parts,
                "reason": each.reason,
            }
            for each in plan.oxides
        ],
        "others": list(plan.others),
        "soil_ph": _ph_document(found),
        "next_leaf_opens": None if plan.next_leaf is None else plan.next_leaf.opens,
        "next_leaf_closes": None if plan.next_leaf is None else plan.next_leaf.closes,
        "tissue_words": found.crop.tissue_words,
        "origins": [{"fact": fact, "origin": origin} for fact, origin in found.origins],
        "gaps": list(plan.gaps),
        "notes": list(plan.notes),
    }


def _ph_document(found: NutrientPlan) -> dict[str, Any]:
    plan, sulfur, lime = found.plan, found.plan.sulfur, found.plan.lime
    return {
        "ph": plan.ph,
        "target": plan.ph_target,
        "sulfur_is_practical": sulfur is not None and sulfur.is_practical,
        "sulfur_kg_per_ha": 0.0 if sulfur is None else sulfur.total_kg_per_ha,
        "sulfur_parts": []
        if sulfur is None
        else [
            {"year": each.year, "lb_per_ac": each.lb_per_ac, "kg_per_ha": each.kg_per_ha}
            for each in sulfur.parts
        ],
        "lime_tons_per_ac": 0.0 if lime is None else lime.tons_per_ac,
        "lime_product_tons_per_ac": 0.0 if lime is None else lime.product_tons_per_ac,
        "notes": [
            *(() if sulfur is None else sulfur.notes),
            *(() if lime is None else lime.notes),
            *plan.balance_words,
        ],
        "carbonate_balance_kg_per_ha": plan.carbonate_balance_kg_per_ha,
    }
