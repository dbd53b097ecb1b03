"""The season calendar of a farm from the command line."""

from __future__ import annotations

from datetime import date
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
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
)
from service.nutrition.season_tasks import GroupedTask
from service.operations.reading.read_farms import get_farms_today
from service.operations.season.documents import season_document
from service.operations.season.plan_season import plan_season
from service.records.season import SeasonCalendar

FarmArgument = Annotated[str, typer.Argument(help="Farm whose season is shown.")]


def season(
    farm: FarmArgument,
    day: Annotated[
        date | None,
        typer.Option("--from", parser=parse_day, metavar="DATE", help="First day; default: today."),
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show a farm's dated tasks of the coming twelve months: tests, start-up, feeding, winter."""
    service = open_service()
    on = day or get_farms_today(farm, unit_of_work=service.unit_of_work, clock=service.clock)
    found = plan_season(farm, on=on, unit_of_work=service.unit_of_work)
    if as_json:
        print_json(season_document(found))
        return
    if not found.tasks:
        note(f"{farm} has no blocks, so that there is nothing to do")
        return
    system = units or UnitSystem(found.unit_system)
    month = ""
    for group in found.tasks:
        begins = f"{max(group.task.first_day, on):%B %Y}"
        if begins != month:
            out.print(Text(begins, style="bold"))
            month = begins
        _show(group, found, system)
    for caution in found.cautions:
        paragraph(f"! {shown.spelled(caution.text, system)}")


def _show(group: GroupedTask, calendar: SeasonCalendar, units: UnitSystem) -> None:
    task = group.task
    days = shown.long_day(task.first_day)
    if task.last_day != task.first_day:
        days += f" to {shown.long_day(task.last_day)}"
    crops = f" ({'; '.join(task.crops)})" if task.crops else ""
    paragraph(f"{days}: {task.title}{crops}", indent="  ", style="bold")
    names = [
        calendar.block_names[block_id] + (f" (done {own.done_on})" if own.done_on else "")
        for block_id, own in group.blocks
    ]
    paragraph(", ".join(names), indent="    ")
    for text in (task.reason, *task.how, *(own.note for _, own in group.blocks if own.note)):
        paragraph(shown.spelled(text, units), indent="    ")
    paragraph(f"Source: {task.source}", indent="    ", style="dim")
