"""A dose of acid, an injection and a season of it, in words and tables of the command line."""

from __future__ import annotations

from rich.text import Text

from service.cli import shown
from service.cli.terminal import UnitSystem, out, paragraph, plain_table
from service.cli.water_text import days_text, show_advice, show_cautions
from service.operations.waterworks.estimate_acid import AcidEstimate
from service.unit_sizes import (
    FL_OZ_PER_GALLON,
    L_PER_GALLON,
    L_PER_H_PER_GPM,
    LB_PER_AC_PER_KG_PER_HA,
)
from service.waterworks.acid_amounts import AcidAmount, AcidInjection, SeasonAcid

Row = tuple[str, str]


def show_dose(found: AcidEstimate, units: UnitSystem) -> None:
    """Cautions, the limit and what it follows from, the dose, one injection, the season."""
    dose = found.dose
    out.print(Text(f"Acid to pH {dose.target_ph:g}: an ESTIMATE by {dose.basis}", style="bold"))
    show_cautions(dose.cautions)
    limit = found.limit
    out.print(f"Lowest pH here: {limit.lowest_ph:g}")
    for part in limit.parts:
        binds = " This decides." if part is limit.binding else ""
        paragraph(f"{part.text}{binds} ({part.source})", indent="  ")
    _print_rows(_dose_rows(found, units))
    table = plain_table("Dose", *(f"{each.dose_change_pct:+.0f} %" for each in found.ph_by_dose))
    table.add_row("pH in the pipe", *(f"{each.ph:.2f}" for each in found.ph_by_dose))
    out.print(table)
    if found.injection is not None:
        _show_injection(found.injection, units)
    if found.season is not None:
        _show_season(found.season, found.season_origin, units)
    else:
        paragraph(f"No season is added up: {found.season_origin}.", style="dim")
    if found.given is not None and found.given.treatments:
        amount = amount_text(found.given.amount, units)
        days = len(found.given.treatments)
        paragraph(f"Given this year so far, as recorded: {amount}, on {days} days.")
    show_advice(found.advisories, units)


def _dose_rows(found: AcidEstimate, units: UnitSystem) -> list[Row]:
    dose = found.dose
    rows = [
        ("Dose", f"{dose.dose_mmol_per_l:.3f} mmol/L of {dose.acid_key} acid"),
        ("", f"{dose.dose_meq_per_l:.3f} meq/L"),
        ("Alkalinity used up", f"{100.0 * dose.alkalinity_removed_fraction:.0f} %"),
        ("Product", f"{dose.acid_g_per_m3:.1f} g per m3 of water"),
    ]
    if dose.acid_ml_per_m3 is not None:
        rows.append(("", f"{dose.acid_ml_per_m3:.1f} mL per m3"))
    if dose.acid_ml_per_m3 is not None and units is UnitSystem.US:
        ounces = _ounces(1000.0 * (found.acid_l_per_1000_gal or 0.0))
        rows.append(("", f"{ounces:.2f} fl oz per 1,000 gal"))
    if dose.injector_l_per_h is not None:
        rate = f"{dose.injector_l_per_h:.2f} L/h ({dose.injector_ml_per_min:.1f} mL/min)"
        flow = f"At {found.flow_l_per_h:,.0f} L/h"
        if units is UnitSystem.US:
            rate += f", {_ounces(dose.injector_ml_per_min or 0.0):.2f} fl oz/min"
            flow += f", {(found.flow_l_per_h or 0.0) / L_PER_H_PER_GPM:,.1f} gal/min"
        rows.append((flow, rate))
    if found.sample.titration:
        rows.append(("The model alone says", f"{dose.model_dose_mmol_per_l:.3f} mmol/L"))
    rows.append(("pH once in open air", f"{dose.open_air_ph:.1f}"))
    if dose.nutrient and dose.nutrient_g_per_m3 > 0.0:
        rows.append((f"Adds {dose.nutrient}", f"{dose.nutrient_g_per_m3:.1f} g per m3"))
    for load in found.loads:
        label = f"{days_text(load)}, {shown.depth(load.gross_mm, units)}"
        rows.append((label, f"{_rate(load.load_kg_per_ha, units)} {load.nutrient}"))
    return rows


def _show_injection(found: AcidInjection, units: UnitSystem) -> None:
    out.print(Text(f"One injection of {found.injection_min:g} min", style="bold"))
    rows = [
        ("Water through the block", shown.volume(found.water_l, units)),
        ("Acid", amount_text(found.acid, units)),
    ]
    if found.clean_water_l is not None and found.tank_l is not None:
        rows.append(("Clean water into the tank first", _small(found.clean_water_l, units)))
        rows.append(("Tank, acid and water", _small(found.tank_l, units)))
        rows.append(("Acid in it", f"{100.0 * (found.acid_share_fraction or 0.0):.1f} %"))
    if found.flush_min is not None:
        rows.append(("Flush for at least", f"{found.flush_min:.0f} min"))
    _print_rows(rows)
    for number, step in enumerate(found.steps, start=1):
        paragraph(f"{number}. {step}")


def _show_season(found: SeasonAcid, origin: str, units: UnitSystem) -> None:
    out.print(Text("The season", style="bold"))
    water = shown.depth(found.season_water_mm, units)
    rows = [("Water that takes acid", f"{water} ({origin})")]
    if found.block is not None:
        rows.append(("Acid for the block", _with_cost(found.block, found.block_cost, units)))
    rows.append(("Per acre", _with_cost(found.per_acre, found.cost_per_acre, units)))
    rows.append(("Per hectare", _with_cost(found.per_ha, found.cost_per_ha, units)))
    rows.append(("Alkalinity used up", f"{100.0 * found.used_up_fraction:.0f} %"))
    if found.nutrient is not None:
        rate = found.nutrient_kg_per_ha
        pounds = rate * LB_PER_AC_PER_KG_PER_HA
        rows.append((f"Brings {found.nutrient}", f"{rate:.1f} kg/ha ({pounds:.1f} lb/ac)"))
    _print_rows(rows)
    paragraph(found.note)


def _with_cost(amount: AcidAmount, cost: float | None, units: UnitSystem) -> str:
    return amount_text(amount, units) + ("" if cost is None else f", cost {cost:,.2f}")


def amount_text(amount: AcidAmount, units: UnitSystem) -> str:
    """Mass and volume; small volumes in fluid ounces or milliliters."""
    if units is UnitSystem.US:
        mass = f"{_number(amount.product_lb)} lb"
        gallons, ounces = amount.product_gal, amount.product_fl_oz
        if gallons is None or ounces is None:
            return mass
        volume = f"{_number(gallons)} gal" if gallons >= 1.0 else f"{_number(ounces)} fl oz"
        return f"{volume}, {mass} ({_number(amount.product_kg)} kg)"
    mass = f"{_number(amount.product_kg)} kg"
    if amount.product_l is None:
        return mass
    liters = amount.product_l
    volume = f"{_number(liters)} L" if liters >= 1.0 else f"{_number(1000.0 * liters)} mL"
    return f"{volume}, {mass}"


def _ounces(volume_ml: float) -> float:
    return volume_ml / 1000.0 / L_PER_GALLON * FL_OZ_PER_GALLON


def _small(volume_l: float, units: UnitSystem) -> str:
    if units is UnitSystem.US:
        return f"{_number(volume_l / L_PER_GALLON)} gal"
    return f"{_number(volume_l)} L"


def _number(value: float) -> str:
    """Three digits that count, at most."""
    return f"{value:,.0f}" if value >= 100.0 else f"{value:.3g}"


def _rate(kg_per_ha: float, units: UnitSystem) -> str:
    if units is UnitSystem.US:
        return f"{kg_per_ha * LB_PER_AC_PER_KG_PER_HA:.2f} lb/ac"
    return f"{kg_per_ha:.2f} kg/ha"


def _print_rows(rows: list[Row]) -> None:
    table = plain_table("", "", right=(1,))
    for row in rows:
        table.add_row(*row)
    out.print(table)
