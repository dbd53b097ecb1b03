"""Ledgers from the command line: the balance of a block by day, and the water that was used."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.figures import CsvOption, csv_text, refuse_both
from service.cli.ledger_text import (
    ALLEY_COLUMNS,
    LEDGER_COLUMNS,
    OTHER,
    TRIGGER,
    has_alley,
    ledger_table,
)
from service.cli.plans import farms_by_id, say_trial
from service.cli.saved_table import SaveOption, save_table, words_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
    print_text,
)
from service.operations.exports.water_tables import balance_table, water_table
from service.operations.reading.read_balance import (
    DEFAULT_SPAN_DAYS,
    TABLE_COLUMNS,
    BlockBalance,
    LedgerLine,
    ledger_lines,
    read_balance,
    table_rows,
)
from service.operations.reading.water_used import table_columns
from service.operations.reading.water_used import table_rows as water_rows
from service.operations.reading.water_used import water_used as add_up_water
from service.records.water_use import Grouping, WaterSum, WaterUse, WaterWish
from service.unit_sizes import L_PER_ACRE_FOOT, L_PER_GALLON, L_PER_M3

FirstDayOption = Annotated[
    date | None,
    typer.Option(
        "--from", parser=parse_day, metavar="DATE", help="First day; default: of the season."
    ),
]
LastDayOption = Annotated[
    date | None,
    typer.Option("--to", parser=parse_day, metavar="DATE", help="Last day; default: today."),
]
FULL_USE = 0.9995
"""Ks from which on a day prints as free of stress."""


def balance(
    block: Annotated[str, typer.Argument(help="Block whose ledger is shown.")],
    first_day: Annotated[
        date | None,
        typer.Option(
            "--from",
            parser=parse_day,
            metavar="DATE",
            help=f"First day; default: {DEFAULT_SPAN_DAYS} days before the last.",
        ),
    ] = None,
    last_day: LastDayOption = None,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show a block's water balance day by day: rain, irrigation, drainage, crop use, depletion."""
    refuse_both(as_csv, as_json)
    service = in_its_own_time(open_service())
    found = read_balance(
        block,
        first_day=first_day,
        last_day=last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    farm = farms_by_id(service)[found.block_id.partition(".")[0]]
    if save is not None:
        save_table(save, balance_table(found, farm, words_of(farm, units)))
        return
    if as_csv:
        print_text(csv_text(TABLE_COLUMNS, table_rows(found)))
        return
    if as_json:
        rows = (dict(zip(TABLE_COLUMNS, row, strict=True)) for row in table_rows(found))
        print_json({"block_id": found.block_id, "first_day": found.first_day,
                    "last_day": found.last_day, "days": list(rows)})  # fmt: skip
        return
    _show(found, units or UnitSystem(farm.unit_system))
    say_trial(service, found.block_id, words_of(farm, units))


def _show(balance: BlockBalance, units: UnitSystem) -> None:
    span = f"{shown.long_day(balance.first_day)} to {shown.long_day(balance.last_day)}"
    out.print(Text(f"{balance.name} ({balance.block_id}), {span}", style="bold"))
    lines = ledger_lines(balance.rows, balance.trigger_fraction)
    if not lines:
        note("the ledger has no day in this span; `rillwright run-day` keeps it")
        return
    columns = [*LEDGER_COLUMNS, TRIGGER]
    if not any(line.other_mm for line in lines):
        columns.remove(OTHER)
    if has_alley(lines):
        columns += ALLEY_COLUMNS
    out.print(ledger_table(lines, columns, units))
    for text in _texts(balance, lines, units):
        paragraph(text)


def _texts(balance: BlockBalance, lines: Sequence[LedgerLine], units: UnitSystem) -> Iterator[str]:
    """The sums of the span, and what its numbers mean."""

    def total(name: str) -> str:
        return shown.depth(sum(getattr(line, name) for line in lines), units)

    yield (
        f"In all: {total('actual_crop_et_mm')} used, {total('rain_entering_mm')} of rain counted,"
        f" {total('net_mm')} of irrigation, {total('drainage_mm')} drained."
    )
    stressed = sum(line.stress_ratio < FULL_USE for line in lines)
    if stressed:
        yield f"On {shown.count(stressed, 'day')} the crop used less than it could (Ks under 1)."
    yield (
        f"Depths in {shown.depth_unit(units)} over the block. end: water missing from the root zone"
        " by the evening, that of the day before less rain and net irrigation, with what drains and"
        " the crop uses; the block gets water from a trigger on. by: what the irrigation is from."
    )
    assumed = sum(line.irrigation_origin == "planned" for line in lines)
    if assumed:
        yield (
            f"On {shown.count(assumed, 'day')} nobody reported a run, and the plan is taken as"
            " carried out."
        )
    coming = int((~balance.rows.is_observed).sum())
    if coming:
        yield f"The weather of {shown.count(coming, 'day')} is still forecast or filled in."


def water_used(
    farm: Annotated[str, typer.Argument(help="Farm whose water is added up.")],
    by: Annotated[
        list[Grouping] | None,
        typer.Option("--by", help="Repeat for each by each; default: month."),
    ] = None,
    first_day: FirstDayOption = None,
    last_day: LastDayOption = None,
    supply: Annotated[str | None, typer.Option("--supply", help="Only this supply.")] = None,
    limit: Annotated[
        str | None,
        typer.Option("--limit", help="Permit or budget of these days: '12 ac-ft', '18 in'."),
    ] = None,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """Add up the water that a farm used, by month, season, block or supply, against a permit."""
    refuse_both(as_csv, as_json)
    service = in_its_own_time(open_service())
    wish = WaterWish(
        farm_id=farm,
        by=tuple(dict.fromkeys(by or [Grouping.MONTH])),
        first_day=first_day,
        last_day=last_day,
        supply_id=supply,
        limit=None if limit is None else service.farm_format.water_limit(limit),
    )
    found = add_up_water(wish, unit_of_work=service.unit_of_work, clock=service.clock)
    whose = farms_by_id(service)[farm]
    if save is not None:
        save_table(save, water_table(found, whose, words_of(whose, units), {}))
        return
    if as_csv:
        print_text(csv_text(table_columns(found), water_rows(found)))
        return
    if as_json:
        print_json(found)
        return
    _show_use(found, units or UnitSystem(whose.unit_system))


def _show_use(use: WaterUse, units: UnitSystem) -> None:
    span = f"{shown.long_day(use.first_day)} to {shown.long_day(use.last_day)}"
    whose = use.farm_id if use.supply_id is None else f"{use.farm_id}, supply {use.supply_id}"
    out.print(Text(f"Water used at {whose}, {span}", style="bold"))
    if not use.sums:
        note("the ledgers have no day in this span; `rillwright run-day` keeps them")
        return
    names = [each.value.capitalize() for each in use.by]
    volumes = ("gal", "ac-ft") if units is UnitSystem.US else ("m3",)
    headings = (*volumes, shown.depth_unit(units), "meter", "report", "plan")
    first = len(names)
    table = plain_table(*names, *headings, right=tuple(range(first, first + len(headings))))
    for each in use.sums:
        table.add_row(*each.labels, *_use_cells(each, units))
    table.add_row("All", *[""] * (first - 1), *_use_cells(use.total, units), style="bold")
    out.print(table)
    if use.limit_volume_l is not None and use.left_volume_l is not None:
        share = use.total.volume_l / use.limit_volume_l
        is_passed = use.left_volume_l < 0.0
        paragraph(
            f"{share:.0%} of {_big_volume(use.limit_volume_l, units)};"
            f" {_big_volume(abs(use.left_volume_l), units)}"
            f" {'more than that' if is_passed else 'are left'}.",
            style="bold red" if is_passed else "bold",
        )
    paragraph(
        "Water that left the supply, and its depth over the ground of the blocks. meter, report,"
        " plan: the shares by metered volumes, by the minutes of reported runs, and by plans of"
        " days that nobody reported, taken as carried out."
    )


def _use_cells(each: WaterSum, units: UnitSystem) -> tuple[str, ...]:
    """Volumes, depth, and what they rest on."""
    cubic: tuple[str, ...] = (f"{each.volume_l / L_PER_M3:,.1f}",)
    if units is UnitSystem.US:
        acre_feet = f"{each.volume_l / L_PER_ACRE_FOOT:,.3f}"
        cubic = (f"{each.volume_l / L_PER_GALLON:,.0f}", acre_feet)
    parts = (each.metered_volume_l, each.reported_volume_l, each.assumed_volume_l)
    shares = (f"{part / each.volume_l:.0%}" if each.volume_l else "" for part in parts)
    return (*cubic, shown.bare_depth(each.gross_mm, units), *shares)


def _big_volume(volume_l: float, units: UnitSystem) -> str:
    """A volume of many days: ``12.4 ac-ft (4,041,000 gal)`` or ``15,300 m3``."""
    if units is UnitSystem.US:
        gallons = f"{volume_l / L_PER_GALLON:,.0f} gal"
        return f"{volume_l / L_PER_ACRE_FOOT:,.3f} ac-ft ({gallons})"
    return f"{volume_l / L_PER_M3:,.1f} m3"
