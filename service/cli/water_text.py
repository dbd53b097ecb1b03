"""What an analysis and a split season come to, in words and tables of the command line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from rich.text import Text

from service.cli.terminal import UnitSystem, out, paragraph, plain_table
from service.operations.waterworks.report_water import CropReport
from service.operations.waterworks.split_need import SeasonSplit
from service.operations.waterworks.watered_depths import NutrientLoad
from service.records.waterworks import WaterSample
from service.translations.wording import own_unit_first
from service.unit_sizes import KG_PER_POUND, LB_PER_AC_PER_KG_PER_HA, M2_PER_ACRE, M2_PER_HECTARE
from service.waterworks.caution import Advisory
from service.waterworks.water_analysis import QUANTITIES
from service.waterworks.water_report import NOTHING_DONE, WaterClass, WaterReport

NO_DAY = date.min
"""The day of a report in a file that gives none."""
WHOLE_FROM = 100.0
"""Values at least this large are shown without decimals."""


def show_advice(advisories: Sequence[Advisory], units: UnitSystem = UnitSystem.SI) -> None:
    """What is to be known of the numbers above; rates in both units lead with the farm's."""
    for each in advisories:
        paragraph(f"! {own_unit_first(each.text, units)}")


def show_cautions(cautions: Sequence[Advisory]) -> None:
    """The cautions in red; they come before the numbers that they are about."""
    if cautions:
        out.print(Text("Cautions", style="bold"))
    for each in cautions:
        paragraph(f"! {each.text}", style="bold red")


def show_report(found: CropReport) -> None:
    """Every class of the water, with what was derived and what is not known."""
    report = found.report
    whose = found.block_id or found.sample.supply_id or "file"
    out.print(Text(f"{whose}: water analysis, {day_text(found.sample)}", style="bold"))
    paragraph(_balance_text(report))
    _show_classes("Restrictions on use", report.restrictions)
    if found.crop is not None:
        _show_classes(f"For {found.crop.name}", found.crop_classes)
    _show_classes("Clogging of emitters", report.clogging)
    if report.restrictions or report.clogging:
        paragraph(
            "Advice on each class is common practice, without a published source.", style="dim"
        )
    if report.saturation is not None:
        index = report.saturation.langelier_index
        langelier = "" if index is None else f", Langelier {index:+.2f}"
        paragraph(
            f"Calcium carbonate saturation {report.saturation.calcite_index:+.2f}{langelier}:"
            f" {report.saturation.word}. {report.saturation.advice}"
        )
    salinity = report.salinity
    if salinity is not None:
        drip = salinity.drip_leaching_requirement_fraction
        common = salinity.leaching_requirement_fraction
        paragraph(
            f"Leaching requirement under drip {_share(drip)} (NEH 623 ch. 7, from memory), for"
            f" surface and sprinkler {_share(common)} (FAO-29). With"
            f" {salinity.leaching_fraction:.2f} of the water leaching and no rain the soil comes to"
            f" {salinity.expected_soil_salinity_ds_m:.1f} dS/m: yield"
            f" {salinity.relative_yield_pct:.0f} % (Maas & Hoffman). {salinity.advice}"
        )
    if found.plan_leaching_fraction is not None:
        paragraph(
            f"The plan uses a leaching fraction of {found.plan_leaching_fraction:.3f} "
            f"({found.plan_origin})."
        )
    for load in found.nitrogen_loads:
        paragraph(
            f"Nitrogen in {load.gross_mm:.0f} mm of this water, {days_text(load)}:"
            f" {load.load_kg_per_ha:.1f} kg/ha. Count it in the season's need."
        )
    for each in report.analysis.derived:
        paragraph(f"Derived: {quantity_label(each.name)} from {each.how}.", style="dim")
    for missing in report.analysis.missing:
        name = quantity_label(missing.name)
        paragraph(f"Not known: {name}; needed for {missing.needed_for}.", style="dim")
    show_advice(report.advisories)
    for text in found.cautions:
        paragraph(f"! {text}")


def days_text(load: NutrientLoad) -> str:
    """The span of days of a load."""
    if load.first_day == load.last_day:
        return str(load.first_day)
    return f"{load.first_day} to {load.last_day}"


def quantity_label(name: str) -> str:
    """What people call a value of an analysis."""
    if name == "nitrate_nitrogen_mg_per_l":
        return "nitrate (as N)"
    return next(each.label for each in QUANTITIES.values() if each.field == name)


def day_text(sample: WaterSample) -> str:
    """The day of a sample; a file need not give one."""
    return "day not given" if sample.day == NO_DAY else str(sample.day)


def _balance_text(report: WaterReport) -> str:
    balance = report.analysis.charge_balance
    if balance is None:
        return "Charge balance: not known, as an ion is missing or was itself derived from it."
    return (
        f"Charge balance: {balance.cations_meq_per_l:.2f} meq/L of cations,"
        f" {balance.anions_meq_per_l:.2f} of anions, difference {balance.difference_pct:+.1f} %."
    )


def _show_classes(title: str, classes: Sequence[WaterClass]) -> None:
    """Print a table of classes, their source, and the usual practice for each."""
    if not classes:
        return
    out.print(title)
    table = plain_table("", "Value", "", "Class", right=(1,))
    for each in classes:
        value = f"{each.value:,.0f}" if abs(each.value) >= WHOLE_FROM else f"{each.value:.3g}"
        table.add_row(each.label, value, each.unit, each.word)
    out.print(table)
    for source in dict.fromkeys(each.source for each in classes):
        paragraph(f"Classes: {source}.", indent="  ", style="dim")
    labels: dict[str, list[str]] = {}
    for each in classes:
        if each.grade > 0 or each.advice != NOTHING_DONE:
            labels.setdefault(each.advice, []).append(each.label)
    for advice, named in labels.items():
        paragraph(f"{', '.join(named)}: {advice}", indent="  ")


def _share(value: float | None) -> str:
    return "none is enough" if value is None else f"{value:.3f}"


def show_split(found: SeasonSplit, units: UnitSystem) -> None:
    """Cautions, days with their products, then the account of every nutrient."""
    show_cautions(found.cautions)
    is_us = units is UnitSystem.US
    rate, mass = ("lb/ac", "lb") if is_us else ("kg/ha", "kg")
    per_area = LB_PER_AC_PER_KG_PER_HA if is_us else 1.0
    per_kg = 1.0 / KG_PER_POUND if is_us else 1.0
    names = [each.key for each in found.products]
    table = plain_table(
        "Day", *(f"{name}, {mass}" for name in names), "", right=tuple(range(1, len(names) + 1))
    )
    for each in found.days:
        late = "no nitrogen: after the last day" if each.need.is_after_last_nitrogen else ""
        masses = (f"{kg * per_kg:.2f}" for kg in each.product_kg)
        table.add_row(str(each.need.day), *masses, late)
    acres = found.area_ha * M2_PER_HECTARE / M2_PER_ACRE
    area = f"{acres:.2f} ac" if is_us else f"{found.area_ha:.2f} ha"
    out.print(f"Of the products, for the whole block of {area}:")
    out.print(table)
    on_area = plain_table(
        "Day", *(f"{name}, {rate}" for name in names), right=tuple(range(1, len(names) + 1))
    )
    for each in found.days:
        rates = (kg / found.area_ha * per_area for kg in each.product_kg)
        on_area.add_row(str(each.need.day), *(f"{value:.2f}" for value in rates))
    out.print(f"The same on each {'acre' if is_us else 'hectare'}:")
    out.print(on_area)
    table = plain_table("Season", f"asked for, {rate}", f"given, {rate}", right=(1, 2))
    for account in found.accounts:
        amounts = (account.asked_kg_per_ha, account.given_kg_per_ha)
        table.add_row(account.nutrient, *(f"{kg * per_area:.3g}" for kg in amounts))
    out.print(table)
    if found.last_nitrogen is not None:
        last = found.last_nitrogen
        paragraph(f"Last day for nitrogen: {last.day} ({last.origin}).")
    show_advice(found.advisories, units)
