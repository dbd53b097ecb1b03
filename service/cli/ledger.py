"""The water balance of a block from the command line: day by day, as a table or CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.figures import CsvOption, csv_text, refuse_both
from service.cli.ledger_text import (
    ALLEY_COLUMNS,
    LEDGER_COLUMNS,
    OTHER,
    TRIGGER,
    has_alley,
    ledger_table,
)
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    print_json,
    print_text,
)
from service.operations.reading.read_balance import (
    DEFAULT_SPAN_DAYS,
    TABLE_COLUMNS,
    BlockBalance,
    LedgerLine,
    ledger_lines,
    read_balance,
    table_rows,
)

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
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """Show a block's water balance day by day: rain, irrigation, drainage, crop use, depletion."""
    refuse_both(as_csv, as_json)
    service = open_service()
    found = read_balance(
        block,
        first_day=first_day,
        last_day=last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_csv:
        print_text(csv_text(TABLE_COLUMNS, table_rows(found)))
        return
    if as_json:
        rows = (dict(zip(TABLE_COLUMNS, row, strict=True)) for row in table_rows(found))
        print_json({"block_id": found.block_id, "first_day": found.first_day,
                    "last_day": found.last_day, "days": list(rows)})  # fmt: skip
        return
    farm = farms_by_id(service)[found.block_id.partition(".")[0]]
    _show(found, units or UnitSystem(farm.unit_system))


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
