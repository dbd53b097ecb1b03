"""Past seasons against a rule of thumb, as a table and as a picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from service.cli import shown
from service.cli.figures import csv_text, number_text
from service.cli.pipes import write_picture
from service.cli.terminal import UnitSystem, out, paragraph, plain_table, print_json, print_text
from service.operations.review.draw_comparison import draw_comparison
from service.records.comparison import (
    Against,
    Comparison,
    Program,
    YearFigures,
    mean_year,
    total_of_years,
    whole_programs,
)
from service.unit_sizes import KG_PER_POUND, M2_PER_ACRE

AgainstOption = Annotated[
    str | None,
    typer.Option(
        metavar="RULE|own",
        help="Compare with a rule of thumb, '1.5 in/week' or '45 min/day', and with what was run in"
        " a stored block as far as that is known; own: with what was run alone.",
    ),
]
DaysAWeekOption = Annotated[
    int, typer.Option(help="Days a week on which the rule of thumb waters.", min=1, max=7)
]
WaterPriceOption = Annotated[
    str | None, typer.Option(metavar="PRICE", help="What water costs: '0.12/m3', '1.50/1000 gal'.")
]
NitrogenOption = Annotated[
    str | None, typer.Option(metavar="RATE", help="Nitrogen of a season: '80 kg/ha', '70 lb/ac'.")
]
NAMES = {
    Program.RULE: "rule of thumb",
    Program.WEEKLY: "weekly timer",
    Program.DAILY: "daily plan",
    Program.FORESEEN: "known weather",
    Program.OWN: "what was run",
}
LEGEND = (
    "Water: gross irrigation. Drained: irrigation that left the root zone below. Stress days end"
    " below the readily available water; lost use is water that the crop did not use for want of"
    " it; both in the watering season. The rule of thumb waters in that season only, in one run a"
    " day. Weekly timer: set every seventh day for what was then expected. Known weather: the daily"
    " plan, had every evening known the next day. What was run: reported runs, else what its timer"
    " had been set to, in the block as it is now; where not all days of the season are known, the"
    " figures are of the known ones and cannot be held beside the others."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """How a comparison is given out."""

    units: UnitSystem
    as_csv: bool
    as_json: bool
    svg: Path | None


def show_comparison(found: Comparison, wanted: str | None, asked: Against, output: Output) -> None:
    """Print what was found for one block or all, and draw the picture of the first."""
    chosen = [each for each in found.block_ids if wanted in (None, each)]
    name = found.block_names[found.block_ids.index(chosen[0])]
    is_us = output.units is UnitSystem.US
    write_picture(output.svg, draw_comparison(name, found.years[chosen[0]], NAMES, is_us=is_us))
    if output.as_csv:
        print_text(_csv(found, chosen))
    elif output.as_json:
        print_json(_document(found, chosen))
    else:
        _show(found, chosen, asked, output.units)


def _show(found: Comparison, block_ids: Sequence[str], asked: Against, units: UnitSystem) -> None:
    """One table for each block: every year, and the mean and the total of more than one."""
    for block_id in block_ids:
        out.print()
        out.print(f"{block_id}, {found.block_names[found.block_ids.index(block_id)]}", style="bold")
        out.print(_table(found.years[block_id], asked, units))
    paragraph(LEGEND)
    if asked.water_price is None:
        paragraph("Cost is not stated: no price was given with --water-price.")
    if asked.nitrogen_kg_per_ha is None:
        paragraph("Nitrogen at risk is not stated: no rate was given with --nitrogen.")


def _table(years: Sequence[YearFigures], asked: Against, units: UnitSystem) -> Table:
    per_area = "lb/ac" if units is UnitSystem.US else "kg/ha"
    extra = [
        title
        for title, value in (
            ("Cost", asked.water_price), (f"N lost {per_area}", asked.nitrogen_kg_per_ha),
        )
        if value is not None
    ]  # fmt: skip
    unit = shown.depth_unit(units)
    table = plain_table(
        "Year", "", f"Water {unit}", f"Drained {unit}", f"Rain drained {unit}", "Stress days",
        f"Lost use {unit}", *extra,
        right=tuple(range(2, 7 + len(extra))),
    )  # fmt: skip
    for each in years:
        table.add_row(str(each.year), *_cells(each, units))
    if len({each.year for each in years}) > 1:
        for program in whole_programs(years):
            table.add_row("mean", *_cells(mean_year(years, program), units), style="bold")
        for program in whole_programs(years):
            table.add_row("total", *_cells(total_of_years(years, program), units), style="bold")
    return table


def _cells(each: YearFigures, units: UnitSystem) -> list[str]:
    cells = [
        NAMES[each.program]
        + ("" if each.is_whole else f", {each.known_day_count} of {each.season_day_count} days"),
        shown.bare_depth(each.gross_mm, units),
        shown.bare_depth(each.irrigation_drainage_mm, units),
        shown.bare_depth(each.rain_drainage_mm, units),
        str(each.stress_day_count),
        shown.bare_depth(each.lost_crop_et_mm, units),
    ]
    if each.water_cost is not None:
        cells.append(f"{each.water_cost:,.0f}")
    if each.nitrogen_lost_kg_per_ha is not None:
        cells.append(_nitrogen(each.nitrogen_lost_kg_per_ha, units))
    return cells


def _nitrogen(kg_per_ha: float, units: UnitSystem) -> str:
    if units is UnitSystem.US:
        return f"{kg_per_ha * M2_PER_ACRE / 10_000.0 / KG_PER_POUND:.0f}"
    return f"{kg_per_ha:.0f}"


def _document(found: Comparison, block_ids: Sequence[str]) -> list[dict[str, object]]:
    """The comparison as JSON, in SI units."""
    return [
        {
            "block_id": block_id,
            "years": [_year_document(each) for each in found.years[block_id]],
        }
        for block_id in found.block_ids
        if block_id in block_ids
    ]


def _year_document(each: YearFigures) -> dict[str, object]:
    return {
        name: round(value, 2) if isinstance(value, float) else value
        for name, value in asdict(each).items()
    }


def _csv(found: Comparison, block_ids: Sequence[str]) -> str:
    """The comparison as CSV, in SI units."""
    names = [field.name for field in fields(YearFigures)]
    rows = (
        [block_id, *(_csv_text(getattr(each, name)) for name in names)]
        for block_id in found.block_ids
        if block_id in block_ids
        for each in found.years[block_id]
    )
    return csv_text(["block_id", *names], rows)


def _csv_text(value: object) -> str:
    if isinstance(value, float):
        return number_text(value, 3)
    return "" if value is None else str(value)
