"""Reported runs from the command line: listed, corrected, undone, and many from a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer

from service.bootstrap import Service
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.evening import METERED, RUN_OPTIONS, outcome_document, outcome_text
from service.cli.figures import CsvOption, csv_text, refuse_both
from service.cli.plans import farms_by_id
from service.cli.saved_table import SaveOption, save_table, words_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    parse_day,
    parse_start,
    plain_table,
    print_json,
    print_text,
)
from service.errors import InputInvalid
from service.farm_files.quantities import read_quantity
from service.farm_files.run_file import COLUMNS, read_run_file
from service.operations.exports.run_tables import run_table
from service.operations.feedback.import_runs import import_runs
from service.operations.feedback.report_runs import RunReport
from service.operations.feedback.revise_runs import (
    RunsWish,
    correct_run,
    list_reported,
    undo_run,
)
from service.operations.reading.read_farms import today_at_block
from service.records.feeds import RunEntry

runs = typer.Typer(
    no_args_is_help=True, help="List reported runs, correct or undo one, and import many."
)
MOST_SHOWN = 50
CSV_COLUMNS = (
    "block_id", "day", "started_at", "duration_min", "volume_l", "is_volume_booked", "reporter",
)  # fmt: skip
BlockArgument = Annotated[str, typer.Argument(help="Block of the run.")]
StartArgument = Annotated[
    datetime,
    typer.Argument(
        parser=parse_start,
        metavar="YYYY-MM-DDTHH:MM",
        help="When the run started, on the site's clock, as `runs list` shows it.",
    ),
]


@runs.command("list")
def show(
    place: Annotated[str, typer.Argument(help="A farm, or a block: `farm.block`.")],
    first_day: Annotated[
        date | None, typer.Option("--from", parser=parse_day, metavar="DATE", help="First day.")
    ] = None,
    last_day: Annotated[
        date | None, typer.Option("--to", parser=parse_day, metavar="DATE", help="Last day.")
    ] = None,
    count: Annotated[int, typer.Option("--count", min=1, max=10_000, help="Most runs.")] = 50,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_csv: CsvOption = False,
    as_json: JsonOption = False,
) -> None:
    """List reported runs, the latest first; those that were undone are not among them."""
    refuse_both(as_csv, as_json)
    service = open_service()
    farm, dot, _ = place.partition(".")
    wish = RunsWish(farm, place if dot else None, first_day, last_day, count=count)
    found = list_reported(wish, unit_of_work=service.unit_of_work)
    whose = farms_by_id(service)[farm]
    if save is not None:
        span = (first_day, last_day)
        table = run_table(found.runs, whose, words_of(whose, units), block_names={}, span=span)
        save_table(save, table)
        return
    if as_csv:
        print_text(csv_text(CSV_COLUMNS, (_row(each).values() for each in found.runs)))
        return
    if as_json:
        print_json({"items": [_row(each) for each in found.runs], "has_more": found.has_more})
        return
    if not found.runs:
        note(f"no run of {place} is reported; `rillwright report-run` takes one")
        return
    _show(found.runs, units or UnitSystem(whose.unit_system))
    if found.has_more:
        note(f"there are earlier ones; --count shows more than {shown.count(count, 'run')}")


def _row(entry: RunEntry) -> dict[str, object]:
    values = [getattr(entry, name) for name in CSV_COLUMNS]
    return dict(
        zip(
            CSV_COLUMNS,
            (each.isoformat() if isinstance(each, date) else each for each in values),
            strict=True,
        )
    )


def _show(entries: Sequence[RunEntry], units: UnitSystem) -> None:
    table = plain_table("block", "start", "minutes", "metered", "reported by", right=(2, 3))
    for each in entries:
        local = on_clock(each.started_at, each.zone)
        water = "" if each.volume_l is None else shown.volume(each.volume_l, units)
        if water and not each.is_volume_booked:
            water += " ?"
        table.add_row(each.block_id, local, f"{each.duration_min:g}", water, each.reporter)
    out.print(table)
    if any(each.volume_l is not None and not each.is_volume_booked for each in entries):
        out.print("?: the volume is questioned, and the minutes are booked.")


@runs.command("correct")
def correct(
    block: BlockArgument,
    start: StartArgument,
    minutes: Annotated[float, typer.Option("--minutes", help="How long it ran.")],
    metered: Annotated[
        str | None, typer.Option("--volume", help="Metered volume with its unit: '820 gal'.")
    ] = None,
    new_start: Annotated[
        datetime | None,
        typer.Option(
            "--start",
            parser=parse_start,
            metavar="YYYY-MM-DDTHH:MM",
            help="When it really started; default: as it was reported.",
        ),
    ] = None,
    is_volume_confirmed: Annotated[
        bool, typer.Option("--confirm-volume", help="Book a volume that was questioned.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Correct a reported run; the balance and the plans follow."""
    service = in_its_own_time(open_service())
    with service.unit_of_work(write=True) as unit:
        volume_l = None
        if metered is not None:
            system = unit.blocks.get_farm_of(block).unit_system
            volume_l = read_quantity(metered, METERED, where="--volume", unit_system=system)
        block_id = _full_id(service, block)
        try:
            done = correct_run(
                unit,
                start,
                RunReport(block_id, new_start or start, minutes, volume_l, is_volume_confirmed),
                reporter="command line",
                replanning=service.replanning,
            )
        except InputInvalid as error:
            raise _as_options(error) from error
    if as_json:
        print_json(
            {
                **outcome_document(done.outcome),
                "new_version_count": done.new_version_count,
                "flow": done.flow,
            }
        )
        return
    out.print(f"{block_id}: {minutes:g} min; {_replaced(done.new_version_count)}")
    if done.questioned_count:
        out.print("the volume is questioned and the minutes are booked; --confirm-volume books it")


@runs.command("undo")
def undo(block: BlockArgument, start: StartArgument, as_json: JsonOption = False) -> None:
    """Let a run count as never reported; the balance and the plans follow."""
    service = in_its_own_time(open_service())
    with service.unit_of_work(write=True) as unit:
        block_id = _full_id(service, block)
        try:
            done = undo_run(unit, block_id, start, replanning=service.replanning)
        except InputInvalid as error:
            raise _as_options(error) from error
    if as_json:
        print_json({"run_count": done.run_count, "new_version_count": done.new_version_count})
        return
    what = "undone" if done.run_count else "undone before"
    out.print(f"{block_id}: the run of {start:%Y-%m-%d %H:%M} is {what};"
              f" {_replaced(done.new_version_count)}")  # fmt: skip


@runs.command("import")
def import_file(
    farm: Annotated[str, typer.Argument(help="Farm whose blocks ran.")],
    file: Annotated[
        Path, typer.Argument(help=f"CSV with one line per run; columns {', '.join(COLUMNS)}.")
    ],
    block: Annotated[
        str | None,
        typer.Option("--block", help="Block that ran, where the file has no such column."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Report the runs of a file: all of them, or nothing and a list of faults."""
    content = read_run_file(file)
    service = in_its_own_time(open_service())
    with service.unit_of_work(write=True) as unit:
        done = import_runs(
            unit,
            content,
            farm_id=farm,
            block_id=block,
            reporter="command line",
            replanning=service.replanning,
        )
    if as_json:
        print_json(
            {
                **outcome_document(done.outcome),
                "new_version_count": done.new_version_count,
                "questioned_count": done.questioned_count,
                "notes": done.notes,
            }
        )
        return
    out.print(f"{farm}: {outcome_text(done.outcome)}; {_replaced(done.new_version_count)}")
    for text in done.notes:
        note(f"note: {text}")
    if done.questioned_count:
        note(
            f"note: of {shown.count(done.questioned_count, 'run')} the volume is questioned and"
            " the minutes are booked; `runs correct --confirm-volume` books it"
        )


def on_clock(instant: datetime, zone: str) -> str:
    """Day and time as a start is given: ``2026-07-14T05:10``."""
    return instant.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M")


def _full_id(service: Service, block: str) -> str:
    """The id with that of its farm; raises NotFound for a block that is not in force."""
    with service.unit_of_work(write=False) as unit:
        today = today_at_block(unit, block, service.clock.now())
        return unit.blocks.get_block(block, day=today).block_id


def _as_options(error: InputInvalid) -> InputInvalid:
    """Faults by the option that each part of a run is given by."""
    options = {where.removeprefix("/items/0"): option for where, option in RUN_OPTIONS.items()}
    faults = [replace(each, where=options.get(each.where, each.where)) for each in error.faults]
    return InputInvalid(error.message, faults)


def _replaced(count: int) -> str:
    return f"{shown.count(count, 'plan')} replaced" if count else "no plan changes"
