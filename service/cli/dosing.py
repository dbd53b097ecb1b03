"""Chlorine and pumping from the command line: estimates, never instructions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.pipes import today_of, units_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.cli.water import file_sample
from service.cli.water_text import show_advice, show_cautions
from service.farm_files.quantities import Measure, read_quantity
from service.operations.waterworks import estimate_chlorine as chlorines
from service.operations.waterworks import estimate_pumping as pumps
from service.waterworks.pumping import COMMON_EFFICIENCY_PCT

_HEAD = Measure(
    noun="a head", unit="m", lowest=0.1, highest=1000.0, examples=("'30 m'", "'100 ft'")
)


def chlorine(
    free: Annotated[
        float, typer.Option("--free", help="Free chlorine wanted at the last emitter, mg/L.")
    ],
    strength: Annotated[
        float, typer.Option("--strength", help="Available chlorine of the product, g/L.")
    ],
    block: Annotated[
        str | None, typer.Argument(help="Block: its supply's water and its flow.")
    ] = None,
    file: Annotated[Path | None, typer.Option("--file", help="A water report in a file.")] = None,
    with_acid: Annotated[
        bool, typer.Option("--with-acid", help="Acid goes into the same water.")
    ] = False,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Estimate how much chlorine a water takes to leave some free. Never an instruction."""
    if (block is None) == (file is None):
        message = "give a block, or --file with a water report"
        raise typer.BadParameter(message)
    request = chlorines.ChlorineRequest(
        free_mg_per_l=free, product_g_per_l=strength, is_acid_injected=with_acid
    )
    if file is not None:
        found = chlorines.estimate_chlorine(file_sample(file), request)
        system = units or UnitSystem.SI
    else:
        service = open_service()
        system = units_of(str(block), service, units)
        found = chlorines.estimate_block_chlorine(
            str(block),
            request,
            on=today_of(str(block), service),
            unit_of_work=service.unit_of_work,
        )
    dose = found.dose
    if as_json:
        print_json(
            {
                "cautions": dose.cautions,
                "block_id": found.block_id,
                "flow_l_per_h": found.flow_l_per_h,
                "flow_origin": found.flow_origin,
                "dose": dose,
            }
        )
        return
    out.print(Text(f"{dose.free_mg_per_l:g} mg/L of free chlorine: an ESTIMATE", style="bold"))
    show_cautions(dose.cautions)
    table = plain_table("", "", right=(1,))
    table.add_row("Taken by iron, manganese, sulfide", f"{dose.demand_mg_per_l:.2f} mg/L")
    table.add_row("Dose", f"{dose.dose_mg_per_l:.2f} mg/L")
    table.add_row("Product", shown.share_of_water(dose.product_ml_per_m3, system))
    if dose.injector_l_per_h is not None and found.flow_l_per_h is not None:
        at = f"At {shown.flow(found.flow_l_per_h, system)}"
        table.add_row(at, shown.small_flow(dose.injector_l_per_h, system))
    out.print(table)
    show_advice(dose.advisories)


def pumping(
    block: Annotated[str, typer.Argument(help="Block whose newest plan is pumped.")],
    head: Annotated[
        str, typer.Option("--head", help="All that the pump gives: lift, losses, pressure: '30 m'.")
    ],
    efficiency: Annotated[
        float, typer.Option("--efficiency", help="Of pump and motor together, percent.")
    ] = COMMON_EFFICIENCY_PCT,
    price: Annotated[
        float | None, typer.Option("--price", help="Of a kWh, in your currency.")
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Power, energy and cost of a block's newest plan."""
    service = open_service()
    found = pumps.estimate_pumping(
        block,
        pumps.PumpRequest(
            head_m=read_quantity(head, _HEAD, where="--head"),
            efficiency_pct=efficiency,
            energy_price=price,
        ),
        on=today_of(block, service),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(found)
        return
    cost = "" if found.pumping.cost is None else f", cost {found.pumping.cost:.2f}"
    flow = shown.flow(found.flow_l_per_h, units_of(block, service, units))
    paragraph(
        f"{found.block_id}, {found.day}: {found.planned_min} min at {flow}"
        f" take {found.pumping.power_kw:.2f} kW and {found.pumping.energy_kwh:.1f} kWh{cost}."
    )
    paragraph("One block alone; what the pump loses at part load is not counted.", style="dim")
