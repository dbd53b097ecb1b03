"""The parts of a block's drip system from the command line: list, order, checks and cost."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text

from service.cli.pipes import SvgOption, today_of, units_of, write_picture
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.farm_files.keys import length
from service.farm_files.pipe_keys import PRESSURE
from service.farm_files.price_file import read_price_file
from service.farm_files.quantities import read_quantity
from service.operations.season.note_visits import last_visit
from service.operations.waterworks import parts_words
from service.operations.waterworks.list_parts import (
    PartsReport,
    PartsRequest,
    list_parts,
    price_parts,
)
from service.records.season import VisitNote
from service.translations import Wording, wording
from service.unit_sizes import KPA_PER_M_OF_HEAD
from service.waterworks.head_checks import VISIT
from service.waterworks.head_filter import WaterOrigin
from service.waterworks.head_injector import (
    COMMON_DILUTION_RATIO,
    COMMON_INJECTION_MIN,
    Substance,
)
from service.waterworks.parts_cost import PartsCost

_ROW = length(1.0, 5000.0, "'300 ft'", "'90 m'")


WaterOption = Annotated[WaterOrigin, typer.Option("--water", help="Where the water comes from.")]
InjectOption = Annotated[
    list[Substance] | None,
    typer.Option("--inject", help="What is injected; again for more. Default: fertilizer."),
]
NothingOption = Annotated[bool, typer.Option("--no-injector", help="Nothing is injected.")]
ZonesOption = Annotated[
    int | None, typer.Option("--zones", help="Zones; default: as few as the supply allows.")
]
RowOption = Annotated[
    str | None, typer.Option("--row-length", help="Where no pipes are described: '300 ft'.")
]
PressureOption = Annotated[
    str | None, typer.Option("--pressure", help="At the head: '45 psi'; default: described.")
]
MinutesOption = Annotated[float, typer.Option("--minutes", help="Of one injection into one zone.")]
DilutionOption = Annotated[
    float, typer.Option("--dilution", help="Water to stock solution: 100 for 1 in 100.")
]
PricesOption = Annotated[
    Path | None,
    typer.Option("--prices", help="CSV with the columns part, unit price; also per, amount."),
]
BudgetOption = Annotated[
    float | None,
    typer.Option("--budget", help="For establishing the whole block, in the same currency."),
]


def parts(
    block: Annotated[str, typer.Argument(help="Block whose drip system is bought part by part.")],
    prices: PricesOption = None,
    budget: BudgetOption = None,
    water: WaterOption = WaterOrigin.UNKNOWN,
    inject: InjectOption = None,
    nothing: NothingOption = False,
    zones: ZonesOption = None,
    row_length: RowOption = None,
    pressure: PressureOption = None,
    minutes: MinutesOption = COMMON_INJECTION_MIN,
    dilution: DilutionOption = COMMON_DILUTION_RATIO,
    svg: SvgOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the parts of a block and its head, their order along the pipe, checks and cost."""
    if nothing and inject:
        message = "give --inject or --no-injector, not both"
        raise typer.BadParameter(message)
    service = open_service()
    head_m = None
    if pressure is not None:
        head_m = read_quantity(pressure, PRESSURE, where="--pressure") / KPA_PER_M_OF_HEAD
    request = PartsRequest(
        origin=water,
        substances=() if nothing else tuple(inject or (Substance.FERTILISER,)),
        zone_count=zones,
        row_length_m=None if row_length is None else read_quantity(
            row_length, _ROW, where="--row-length"
        ),
        inlet_head_m=head_m,
        injection_min=minutes,
        dilution_ratio=dilution,
    )  # fmt: skip
    report = list_parts(
        block, request, on=today_of(block, service), unit_of_work=service.unit_of_work
    )
    words = wording("en", units_of(block, service, units).value)
    cost = None
    if prices is not None:
        default_m = parts_words.price_unit_m(words)
        cost = price_parts(report, read_price_file(prices, default_length_m=default_m), budget)
    elif budget is not None:
        message = "--budget needs --prices"
        raise typer.BadParameter(message)
    write_picture(svg, parts_words.order_figure(report, words))
    visited = last_visit(report.block_id, unit_of_work=service.unit_of_work)
    if as_json:
        print_json(parts_document(report, cost, visited))
        return
    _show(report, cost, words, visited)


def parts_document(
    report: PartsReport, cost: PartsCost | None, visited: Sequence[VisitNote]
) -> dict[str, object]:
    """The list for JSON, in SI units."""
    return {
        "block_id": report.block_id,
        "area_m2": report.area_m2,
        "water_sample_day": report.sample_day,
        "amounts": report.amounts,
        "flow_origin": report.flow_origin,
        "filter": report.filter,
        "regulator": report.regulator,
        "injection_places": report.places,
        "suction": report.suction,
        "bucket_l": report.bucket_l,
        "parts": report.parts,
        "order": report.stations,
        "checklists": report.checklists,
        "notes": report.notes,
        "last_visit": visited,
        "cautions": report.cautions,
        "cost": cost,
    }


def _show(
    report: PartsReport, cost: PartsCost | None, words: Wording, visited: Sequence[VisitNote]
) -> None:
    out.print(Text(f"{report.name}: parts and order along the pipe", style="bold"))
    table = plain_table("", "", right=(1,))
    for label, value in (
        *parts_words.number_rows(report, words),
        *parts_words.suction_rows(report, words),
    ):
        table.add_row(label, value)
    out.print(table)
    out.print()
    list_table = plain_table("Part", "Amount", "", right=(1,))
    for part in report.parts:
        name = Text(part.key)
        list_table.add_row(name, parts_words.amount(part, words), part.name)
    out.print(list_table)
    for part in report.parts:
        sizes = parts_words.sizes(part, words)
        if sizes or part.note:
            remark = ". ".join(text.rstrip(".") for text in (sizes, part.note) if text)
            paragraph(f"{part.key}: {remark}. [{part.source}]", indent="  ")
    paragraph(f"Filter: {_filter_text(report)}")
    for place in report.places:
        paragraph(f"{place.substance.value}: {place.reason} [{place.source}]")
    if cost is not None:
        _show_cost(report, cost, words)
    out.print()
    out.print(Text("Order along the pipe", style="bold"))
    for number, station in enumerate(report.stations, start=1):
        mark = "  each zone: " if station.is_in_zone else ""
        paragraph(f"{number}. {mark}{station.name}. {station.reason}".rstrip(), indent="  ")
    for each in report.checklists:
        out.print()
        out.print(Text(each.title, style="bold"))
        for step in each.steps:
            paragraph(f"[ ] {step}", indent="  ")
        for noted in visited if each.key == VISIT else ():
            text = " ".join(noted.text.split())
            paragraph(f"Noted on {noted.day} by {noted.visitor}: {text}", indent="  ")
    out.print()
    for text in (*report.notes, *(each.text for each in report.cautions)):
        paragraph(f"! {text}")


def _filter_text(report: PartsReport) -> str:
    found = report.filter
    why = f", because of {', '.join(found.decided_by).lower()}" if found.decided_by else ""
    return f"{found.kind.value}{why}."


def _show_cost(report: PartsReport, cost: PartsCost, words: Wording) -> None:
    names = {part.key: part for part in report.parts}
    out.print()
    out.print(Text("Cost, in the currency of the price list", style="bold"))
    per_m = parts_words.price_unit_m(words)
    table = plain_table("", "Amount", "Unit price", "Cost", right=(1, 2, 3))
    for line in cost.lines:
        part = names.get(line.key)
        is_pipe = line.unit == "m"
        unit_price = line.unit_price * (per_m if is_pipe else 1.0)
        unit = f"{line.amount / per_m:,.0f}" if is_pipe else f"{line.amount:,g}"
        per = "" if part is None else f" {parts_words.price_unit(part, words)}"
        table.add_row(line.key, f"{unit}{per}", f"{unit_price:,.2f}", f"{line.cost:,.2f}")
    table.add_row("Together", "", "", f"{cost.cost:,.2f}")
    out.print(table)
    per_area = f"{cost.cost_per_acre:,.2f} per acre, {cost.cost_per_ha:,.2f} per hectare"
    paragraph(f"{per_area}.")
    if cost.missing:
        paragraph(f"! Without a price, and not in the sums: {', '.join(cost.missing)}.")
    if cost.budget_share_fraction is not None:
        paragraph(
            f"That is {cost.budget_share_fraction:.0%} of the budget of {cost.budget:,.2f}; about"
            f" {cost.common_share_fraction:.0%} is common for drip in establishing perennial fruit"
            " (common practice, no source)."
        )
