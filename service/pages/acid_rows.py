"""Rows of the pages' tables about acid, what the water brings along, and flushing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from service.operations.reading.block_pipes import PipeReport
from service.operations.waterworks.estimate_acid import AcidEstimate
from service.operations.waterworks.record_acid import GivenAcid
from service.operations.waterworks.watered_depths import NutrientLoad
from service.pages.acid_names import ACID_NAMES
from service.pages.nutrient_words import NUTRIENT_WORDS
from service.pages.per_area import per_area_text
from service.pages.plans import flow_text
from service.translations.wording import Wording
from service.unit_sizes import FL_OZ_PER_GALLON, L_PER_GALLON
from service.waterworks.acid_amounts import AcidAmount, AcidInjection, acid_brings

Row = tuple[str, str]
"""A label, and a value with its unit."""


def dose_rows(found: AcidEstimate, words: Wording) -> list[Row]:
    """The dose, where it comes from, and the pH where it is a little off."""
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
        (words.gettext("Acid per liter"), f"{words.number(dose.dose_mmol_per_l, 3)} mmol/L"),
        (
            words.gettext("Alkalinity that it uses up"),
            words.percent(dose.alkalinity_removed_fraction),
        ),
    ]
    if words.unit_system == "us" and found.acid_l_per_1000_gal is not None:
        rows.append(
            (
                words.gettext("Product for 1,000 gal of water"),
                _in_ounces(1000.0 * found.acid_l_per_1000_gal, "mL", words),
            )
        )
    elif dose.acid_ml_per_m3 is not None:
        rows.append(
            (
                words.gettext("Product per cubic meter of water"),
                f"{words.number(dose.acid_ml_per_m3, 1)} mL",
            )
        )
    else:
        rows.append(
            (
                words.gettext("Product per cubic meter of water"),
                f"{words.number(dose.acid_g_per_m3, 1)} g",
            )
        )
    if dose.injector_l_per_h is not None and found.flow_l_per_h is not None:
        label = words.gettext("Injector at {flow}", flow=flow_text(found.flow_l_per_h, words))
        rows.append((label, _in_ounces(dose.injector_ml_per_min or 0.0, "mL/min", words)))
    rows.append(
        (
            words.gettext("pH once the water stands in open air"),
            words.number(dose.open_air_ph, 1),
        )
    )
    return [*rows, *_shift_rows(found, words), *load_rows(found.loads, words)]


def injection_rows(found: AcidInjection | None, words: Wording) -> list[Row]:
    """Amounts of one short injection."""
    if found is None:
        return []
    rows = [
        (words.gettext("Minutes"), words.minutes(found.injection_min)),
        (words.gettext("Water through the block"), words.volume(found.water_l)),
        (words.gettext("Acid"), amount_text(found.acid, words)),
    ]
    if found.clean_water_l is not None and found.tank_l is not None:
        rows += [
            (
                words.gettext("Clean water into the tank, first"),
                _small_volume(found.clean_water_l, words),
            ),
            (words.gettext("Tank, water and acid"), _small_volume(found.tank_l, words)),
            (words.gettext("Acid in the tank"), words.percent(found.acid_share_fraction or 0.0)),
        ]
    if found.flush_min is not None:
        rows.append(
            (words.gettext("Flush for at least"), words.minutes(math.ceil(found.flush_min)))
        )
    return rows


def season_rows(found: AcidEstimate, words: Wording) -> list[Row]:
    """Acid, nutrient and cost of a season."""
    season = found.season
    if season is None:
        return []
    origin = words.gettext(found.season_origin)
    is_us = words.unit_system == "us"
    per_area, cost_per_area = (
        (season.per_acre, season.cost_per_acre) if is_us else (season.per_ha, season.cost_per_ha)
    )
    label, cost_label = (
        (words.gettext("Per acre"), words.gettext("Cost per acre"))
        if is_us
        else (words.gettext("Per hectare"), words.gettext("Cost per hectare"))
    )
    rows = [
        (
            words.gettext("Water that takes acid"),
            f"{words.depth(season.season_water_mm)} ({origin})",
        )
    ]
    if season.block is not None:
        rows.append((words.gettext("Acid for the block"), amount_text(season.block, words)))
    rows.append((label, amount_text(per_area, words)))
    rows.append(
        (words.gettext("Alkalinity that it uses up"), words.percent(season.used_up_fraction))
    )
    if season.nutrient is not None:
        nutrient = words.gettext(NUTRIENT_WORDS[season.nutrient])
        rows.append(
            (
                words.gettext("It brings {nutrient}", nutrient=nutrient),
                per_area_text(season.nutrient_kg_per_ha, words),
            )
        )
    if season.block_cost is not None and cost_per_area is not None:
        rows.append((words.gettext("Cost for the block"), words.number(season.block_cost, 2)))
        rows.append((cost_label, words.number(cost_per_area, 2)))
    return rows


def given_rows(found: GivenAcid, words: Wording) -> list[tuple[date, str, str]]:
    """Day, acid and amount of what was recorded."""
    return [
        (
            each.day,
            f"{words.gettext(ACID_NAMES[each.acid_key])}, {words.number(each.strength_pct, 0)} %",
            amount_text(
                acid_brings(each.acid_key, each.strength_pct, each.product_l).amount, words
            ),
        )
        for each in found.treatments
    ]


def given_total_rows(found: GivenAcid, words: Wording) -> list[Row]:
    """What all of it comes to, and what it did."""
    if not found.treatments:
        return []
    rows = [(words.gettext("All of this year"), amount_text(found.amount, words))]
    for nutrient, rate in found.nutrient_kg_per_ha.items():
        label = words.gettext("It brought {nutrient}", nutrient=words.gettext(
            NUTRIENT_WORDS[nutrient]
        ))  # fmt: skip
        rows.append((label, per_area_text(rate, words)))
    rows.append(
        (
            words.gettext("Lime of the water that it used up"),
            per_area_text(found.carbonate_kg_per_ha, words),
        )
    )
    return rows


def amount_text(amount: AcidAmount, words: Wording) -> str:
    """Volume and mass; small volumes in fluid ounces or millilitres."""
    if words.unit_system == "us":
        mass = f"{_digits(amount.product_lb, words)} lb ({_digits(amount.product_kg, words)} kg)"
        if amount.product_gal is None or amount.product_fl_oz is None:
            return mass
        if amount.product_gal >= 1.0:
            return f"{_digits(amount.product_gal, words)} gal, {mass}"
        return f"{_digits(amount.product_fl_oz, words)} {words.gettext('fl oz')}, {mass}"
    mass = f"{_digits(amount.product_kg, words)} kg"
    if amount.product_l is None:
        return mass
    if amount.product_l >= 1.0:
        return f"{_digits(amount.product_l, words)} L, {mass}"
    return f"{_digits(1000.0 * amount.product_l, words)} mL, {mass}"


def _in_ounces(value_ml: float, unit: str, words: Wording) -> str:
    """Millilitres, of a time or not; for US readers in fluid ounces with these beside them."""
    metric = f"{words.number(value_ml, 1)} {unit}"
    if words.unit_system != "us":
        return metric
    ounces = value_ml / 1000.0 / L_PER_GALLON * FL_OZ_PER_GALLON
    of_time = unit.removeprefix("mL")
    return f"{_digits(ounces, words)} {words.gettext('fl oz')}{of_time} ({metric})"


def _small_volume(volume_l: float, words: Wording) -> str:
    if words.unit_system == "us":
        return f"{_digits(volume_l / L_PER_GALLON, words)} gal"
    return f"{_digits(volume_l, words)} L"


def _digits(value: float, words: Wording) -> str:
    """About three digits that count."""
    return words.number(value, 0 if value >= 100.0 else 1 if value >= 10.0 else 2)


def _shift_rows(found: AcidEstimate, words: Wording) -> list[Row]:
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


def load_rows(loads: Sequence[NutrientLoad], words: Wording) -> list[Row]:
    """What the water brings of a nutrient."""
    return [
        (
            words.gettext("It feeds {nutrient}, {day}", nutrient=nutrient, day=words.short_day(
                load.first_day
            ))
            if load.first_day == load.last_day
            else words.gettext("It feeds {nutrient}, {first} to {last}", nutrient=nutrient,
                first=words.short_day(load.first_day), last=words.short_day(load.last_day)),
            per_area_text(load.load_kg_per_ha, words),
        )
        for load in loads
        for nutrient in (words.gettext(NUTRIENT_WORDS[load.nutrient]),)
    ]  # fmt: skip


def flush_rows(report: PipeReport, words: Wording) -> list[Row]:
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
