"""Acid that was given to a block: recorded, listed and added up."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer

from service.cli.acid_text import amount_text
from service.cli.evening import outcome_text
from service.cli.pipes import today_of
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
)
from service.farm_files.quantities import Measure, read_quantity
from service.operations.waterworks import record_acid as acids
from service.records.waterworks import AcidTreatment
from service.unit_sizes import LB_PER_AC_PER_KG_PER_HA
from service.waterworks.acid_amounts import acid_brings

_VOLUME = Measure(
    noun="a volume", unit="l", lowest=0.001, highest=99_999.0, examples=("'2 gal'", "'7.5 L'")
)


def acid_given(
    block: Annotated[str, typer.Argument(help="Block that was given acid.")],
    amount: Annotated[
        str | None, typer.Argument(help="All of that day: '2 gal'; none: list the year's.")
    ] = None,
    day: Annotated[date | None, typer.Option("--on", parser=parse_day, metavar="DATE")] = None,
    kind: Annotated[
        str,
        typer.Option("--acid", help="sulfuric, phosphoric, nitric, hydrochloric or citric."),
    ] = "sulfuric",
    strength: Annotated[
        float, typer.Option("--strength", help="Pure acid in the product, percent by weight.")
    ] = 93.0,
    is_deleted: Annotated[bool, typer.Option("--delete", help="Delete that day's acid.")] = False,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Record the acid that a block was given on a day, or list this year's with what it brought."""
    service = open_service()
    today = today_of(block, service)
    if is_deleted:
        acids.remove_acid(block, day=day or today, unit_of_work=service.unit_of_work)
    elif amount is not None:
        with service.unit_of_work(write=False) as unit:
            block_id = unit.blocks.get_block(block, day=today).block_id
            system = unit.blocks.get_farm_of(block).unit_system
        treatment = AcidTreatment(
            block_id=block_id,
            day=day or today,
            acid_key=kind,
            strength_pct=strength,
            product_l=read_quantity(amount, _VOLUME, where="AMOUNT", unit_system=system),
        )
        outcome = acids.record_acid(
            treatment, unit_of_work=service.unit_of_work, clock=service.clock
        )
        paragraph(f"{block_id}, {treatment.day}: {outcome_text(outcome)}")
    found = acids.list_acid(block, on=today, unit_of_work=service.unit_of_work)
    if as_json:
        print_json(found)
        return
    with service.unit_of_work(write=False) as unit:
        farm_id = unit.blocks.get_farm_of(block).farm_id
    _show(found, units or UnitSystem(farms_by_id(service)[farm_id].unit_system))


def _show(found: acids.GivenAcid, units: UnitSystem) -> None:
    if not found.treatments:
        paragraph("No acid is recorded for this year.")
        return
    table = plain_table("Day", "Acid", "Amount", right=(2,))
    for each in found.treatments:
        brought = acid_brings(each.acid_key, each.strength_pct, each.product_l)
        name = f"{each.acid_key}, {each.strength_pct:g} %"
        table.add_row(str(each.day), name, amount_text(brought.amount, units))
    table.add_row("Year", "", amount_text(found.amount, units))
    out.print(table)
    for nutrient, rate in found.nutrient_kg_per_ha.items():
        pounds = rate * LB_PER_AC_PER_KG_PER_HA
        paragraph(f"It brought {rate:.1f} kg/ha ({pounds:.1f} lb/ac) of {nutrient}.")
    paragraph(
        f"It used up {found.carbonate_kg_per_ha:.0f} kg/ha of lime, as CaCO3, that the water"
        " brings: `nutrient-plan` counts it."
    )
