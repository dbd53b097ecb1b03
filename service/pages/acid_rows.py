"""Rows of the page's tables about acid, what the water brings along, and flushing."""

from __future__ import annotations

from collections.abc import Sequence

from service.agronomy.units import KG_PER_POUND, M2_PER_ACRE, M2_PER_HECTARE
from service.operations.reading.block_pipes import PipeReport
from service.operations.waterworks.estimate_acid import AcidEstimate
from service.operations.waterworks.watered_depths import NutrientLoad
from service.pages.plans import flow_text
from service.translations.catalogue import marked
from service.translations.wording import Wording

_NUTRIENTS = {
    "sulfur": marked("sulfur"),
    "phosphorus": marked("phosphorus"),
    "nitrogen": marked("nitrogen"),
    "chloride": marked("chloride"),
}


def acid_rows(found: AcidEstimate, words: Wording) -> list[tuple[str, str]]:
    """Label and value of each row."""
    dose = found.dose
    rows = [
        (
            words.gettext("Where the dose comes from"),
            words.gettext("a titration of the water")
            if dose.basis == "titration"
            else words.gettext(
                "a model of the analysis of {day}", day=words.short_day(found.sample.day)
            ),
        ),
        (words.gettext("Acid per litre"), f"{words.number(dose.dose_mmol_per_l, 3)} mmol/L"),
    ]
    if words.unit_system == "us" and found.acid_l_per_1000_gal is not None:
        rows.append(
            (
                words.gettext("Product for 1,000 gal of water"),
                f"{words.number(found.acid_l_per_1000_gal, 3)} L",
            )
        )
    elif dose.acid_ml_per_m3 is not None:
        rows.append(
            (
                words.gettext("Product per cubic metre of water"),
                f"{words.number(dose.acid_ml_per_m3, 1)} mL",
            )
        )
    else:
        rows.append(
            (
                words.gettext("Product per cubic metre of water"),
                f"{words.number(dose.acid_g_per_m3, 1)} g",
            )
        )
    if dose.injector_l_per_h is not None and found.flow_l_per_h is not None:
        label = words.gettext("Injector at {flow}", flow=flow_text(found.flow_l_per_h, words))
        rows.append((label, f"{words.number(dose.injector_ml_per_min or 0.0, 1)} mL/min"))
    rows.append(
        (
            words.gettext("pH once the water stands in open air"),
            words.number(dose.open_air_ph, 1),
        )
    )
    return [*rows, *_shift_rows(found, words), *load_rows(found.loads, words)]


def _shift_rows(found: AcidEstimate, words: Wording) -> list[tuple[str, str]]:
    return [
        (
            words.gettext("pH with {share} more acid", share=share)
            if each.dose_change_pct > 0.0
            else words.gettext("pH with {share} less acid", share=share),
            words.number(each.ph, 1),
        )
        for each in found.ph_by_dose
        for share in (words.percent(abs(each.dose_change_pct) / 100.0),)
        if each.dose_change_pct
    ]


def load_rows(loads: Sequence[NutrientLoad], words: Wording) -> list[tuple[str, str]]:
    """What the water brings of a nutrient."""
    return [
        (
            words.gettext("It feeds {nutrient}, {day}", nutrient=nutrient, day=words.short_day(
                load.first_day
            ))
            if load.first_day == load.last_day
            else words.gettext("It feeds {nutrient}, {first} to {last}", nutrient=nutrient,
                first=words.short_day(load.first_day), last=words.short_day(load.last_day)),
            per_area(load.load_kg_per_ha, words),
        )
        for load in loads
        for nutrient in (words.gettext(_NUTRIENTS[load.nutrient]),)
    ]  # fmt: skip


def flush_rows(report: PipeReport, words: Wording) -> list[tuple[str, str]]:
    """What flushing a row by its open end takes."""
    if report.flush is None:
        return []
    return [
        (
            words.gettext("Flushing a row: flow out of its open end, 0.3 m/s"),
            words.gettext(
                "{flow}; rows at once with the rows' own flow: {count}",
                flow=flow_text(report.flush.end_flow_l_per_h, words),
                count=words.number(report.flush.lines_at_once_count),
            ),
        )
    ]


def per_area(load_kg_per_ha: float, words: Wording) -> str:
    """A mass of nutrient over ground, as the grower counts it."""
    if words.unit_system == "us":
        pounds = load_kg_per_ha / KG_PER_POUND * M2_PER_ACRE / M2_PER_HECTARE
        return f"{words.number(pounds, 1)} lb/ac"
    return f"{words.number(load_kg_per_ha, 1)} kg/ha"
