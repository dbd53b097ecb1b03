"""Tests and plans of nutrients in the words and tables of the command line."""

from __future__ import annotations

from rich.text import Text

from service.cli.terminal import out, paragraph, plain_table
from service.nutrition.leaf_classes import NutrientCard
from service.nutrition.soil_classes import SoilCard
from service.operations.nutrition.plan_nutrients import NutrientPlan
from service.operations.nutrition.record_tests import NutrientReport
from service.unit_sizes import LB_PER_AC_PER_KG_PER_HA

BASIS_WORDS = {"memory": "from memory", "second-hand": "second-hand", "read": "read"}


def show_report(report: NutrientReport) -> None:
    """A test: its cards, its notes, where the ranges are from."""
    test = report.test
    what = " ".join(each for each in (test.crop, test.tissue, test.stage) if each) or test.kind
    out.print(Text(f"{test.day} {what}: {test.laboratory}", style="bold"))
    if test.recommendation:
        paragraph(f"The laboratory recommends: {test.recommendation}")
    for text in (*(() if report.check is None else report.check.notes), *report.notes):
        paragraph(f"! {text}")
    if report.leaf is None:
        _show_soil(report.soil)
        rest = {
            k: v for k, v in report.values.items() if k not in {c.nutrient for c in report.soil}
        }
        if rest:
            paragraph(", ".join(f"{name} {value:g}" for name, value in rest.items()))
        return
    table = plain_table("", "Value", "Range", "Class", "From middle", right=(1, 2, 4))
    for card in report.leaf.cards:
        table.add_row(*_leaf_cells(card))
    out.print(table)
    if report.leaf.most_limiting:
        paragraph(f"Farthest below the middle: {', '.join(report.leaf.most_limiting[:3])}.")
    for text in report.leaf.sentences:
        paragraph(text)
    if report.row is not None:
        row = report.row
        memory = ", ".join(row.from_memory)
        paragraph(
            f"Ranges {row.key}: {row.source}; {row.region}; {BASIS_WORDS[row.basis]}"
            + (f"; from memory: {memory}" if memory else "")
            + f". {row.note}".rstrip(" ").rstrip(".")
            + ". The laboratory's own come first.",
            style="dim",
        )


def show_plan(found: NutrientPlan) -> None:
    """A season's plan, line by line."""
    plan = found.plan
    out.print(Text(f"{found.block_id}, {found.crop.name}, season {plan.season_year}", style="bold"))
    for text in found.recommendations:
        paragraph(f"The laboratory recommends: {text}", style="bold")
    for fact, origin in found.origins:
        paragraph(f"{fact}: {origin}", style="dim")
    if plan.nitrogen is not None:
        out.print(Text("Nitrogen, over planted ground", style="bold"))
        table = plain_table("kg/ha", "lb/ac", "", right=(0, 1))
        for line in plan.nitrogen.lines:
            pounds = line.kg_per_ha * LB_PER_AC_PER_KG_PER_HA
            table.add_row(f"{line.kg_per_ha:+.1f}", f"{pounds:+.1f}", line.reason)
        out.print(table)
    if plan.parts:
        product = found.facts.product
        name = "" if product is None else f"{product.name}, kg"
        table = plain_table("Day", "kg/ha", "lb/ac", "N, kg", name, right=(1, 2, 3, 4))
        for part in plan.parts:
            mass = "" if part.product_kg is None else f"{part.product_kg:.1f}"
            table.add_row(
                part.day.isoformat(),
                f"{part.kg_per_ha:.1f}",
                f"{part.lb_per_ac:.1f}",
                f"{part.block_kg:.1f}",
                mass,
            )
        out.print(table)
    if plan.last_nitrogen is not None:
        paragraph(f"Last day for nitrogen: {plan.last_nitrogen.day} ({plan.last_nitrogen.origin}).")
    _show_soil(plan.soil_cards)
    for need in plan.oxides:
        pounds = need.kg_per_ha * LB_PER_AC_PER_KG_PER_HA
        paragraph(f"{need.oxide}: {need.kg_per_ha:.0f} kg/ha ({pounds:.0f} lb/ac). {need.reason}")
    for text in plan.others:
        paragraph(text)
    _show_ph(found)
    if plan.next_leaf is not None:
        window = plan.next_leaf.window
        stage = "" if window.opens else f" at {window.stage.replace('-', ' ')}"
        paragraph(
            f"Next {window.tissue.replace('-', ' ')} sample{stage}: {plan.next_leaf.opens} to"
            f" {plan.next_leaf.closes}, {window.common} of the {found.crop.tissue_words}; one"
            " cultivar, the same dates each year."
        )
    for text in (*plan.gaps, *plan.notes):
        paragraph(f"! {text}")


def _show_ph(found: NutrientPlan) -> None:
    plan = found.plan
    if plan.ph is None:
        return
    out.print(Text(f"Soil pH {plan.ph:g}, wanted {plan.ph_target:g}", style="bold"))
    if plan.sulfur is not None and plan.sulfur.parts:
        for part in plan.sulfur.parts:
            paragraph(
                f"Year {part.year}: {part.kg_per_ha:.0f} kg/ha ({part.lb_per_ac:.0f} lb/ac) of"
                " sulfur over treated ground; a soil pH before it."
            )
    if plan.lime is not None and plan.lime.tons_per_ac:
        paragraph(
            f"Lime: {plan.lime.tons_per_ac:.2f} tons an acre of CaCO3,"
            f" {plan.lime.product_tons_per_ac:.2f} of a product at 90 %, in {plan.lime.parts}"
            " parts."
        )
    for each in (plan.sulfur, plan.lime):
        for text in () if each is None else each.notes:
            paragraph(f"! {text}")
    for text in plan.balance_words:
        paragraph(text)


def _show_soil(cards: tuple[SoilCard, ...]) -> None:
    if not cards:
        return
    table = plain_table("Soil", "mg/kg", "Class", "Source", right=(1,))
    for card in cards:
        basis = "from memory" if card.basis == "memory" else card.source
        table.add_row(card.nutrient, f"{card.value:g}", card.soil_class.word, card.note or basis)
    out.print(table)


def _leaf_cells(card: NutrientCard) -> tuple[str, str, str, str, str]:
    value = "-" if card.value is None else f"{card.value:g} {card.unit}"
    span = "" if card.low is None or card.high is None else f"{card.low:g} - {card.high:g}"
    away = "" if card.deviation is None else f"{card.deviation:+.0f} %"
    mark = {"memory": " (from memory)", "laboratory": " (laboratory)"}.get(card.basis, "")
    return card.nutrient, value, span + mark, card.word, away
