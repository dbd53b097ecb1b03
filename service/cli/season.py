"""The season calendar of a farm and notes of visits from the command line."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.terminal import (
    JsonOption,
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
from service.operations.season.note_visits import (
    NOTES_PER_PAGE,
    NoteDraft,
    ShownNote,
    list_notes,
    record_note,
)
from service.operations.season.plan_season import plan_season
from service.records.season import SeasonCalendar

FarmArgument = Annotated[str, typer.Argument(help="Farm whose season is shown.")]


def season(
    farm: FarmArgument,
    day: Annotated[
        date | None,
        typer.Option("--from", parser=parse_day, metavar="DATE", help="First day; default: today."),
    ] = None,
    brief: Annotated[
        bool, typer.Option("--brief", help="Days, tasks and blocks alone, without how and why.")
    ] = False,
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
    month = ""
    for group in found.tasks:
        opens = group.task.first_day
        begins = "Open now" if opens <= on else f"{opens:%B %Y}"
        if begins != month:
            out.print(Text(begins, style="bold"))
            month = begins
        _show(group, found)
        if not brief:
            _explain(group)
    for caution in found.cautions:
        paragraph(f"! {caution.text}")


def _show(group: GroupedTask, calendar: SeasonCalendar) -> None:
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


def _explain(group: GroupedTask) -> None:
    task = group.task
    for text in (task.reason, *task.how, *(own.note for _, own in group.blocks if own.note)):
        paragraph(text, indent="    ")
    paragraph(f"Source: {task.source}", indent="    ", style="dim")


PlaceArgument = Annotated[str, typer.Argument(help="A farm, or a block: `farm.block`.")]


def note_add(
    place: PlaceArgument,
    text: Annotated[str, typer.Argument(help="What was seen, in plain words.")],
    day: Annotated[
        date | None,
        typer.Option(
            "--on", parser=parse_day, metavar="DATE", help="Of the visit; default: today."
        ),
    ] = None,
    visitor: Annotated[str, typer.Option("--by", help="Who was there.")] = "",
    corrects: Annotated[
        str | None, typer.Option("--corrects", help="The note that this one stands for.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Keep a note of a visit; it is never changed, only corrected by another."""
    service = open_service()
    farm, block_id = _farm_and_block(place)
    today = get_farms_today(farm, unit_of_work=service.unit_of_work, clock=service.clock)
    kept = record_note(
        farm,
        NoteDraft(
            day=day or today, text=text, block_id=block_id, visitor=visitor, corrects=corrects
        ),
        reporter="command line",
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json(kept)
        return
    out.print(f"{place}: note {kept.note_id} of {kept.day} is kept")


def notes(
    place: PlaceArgument,
    most: Annotated[int, typer.Option("--most", help="Notes to show.", min=1)] = NOTES_PER_PAGE,
    as_json: JsonOption = False,
) -> None:
    """List notes of visits, the newest first."""
    service = open_service()
    farm, block_id = _farm_and_block(place)
    found = list_notes(farm, block_id=block_id, most=most, unit_of_work=service.unit_of_work)
    if as_json:
        print_json([{**asdict(each.note), "measured": each.measured} for each in found])
        return
    for each in found:
        _show_note(each)
    if not found:
        out.print(f"{place}: no note is stored; `rillwright note` takes one")


def _farm_and_block(place: str) -> tuple[str, str | None]:
    farm, dot, _ = place.partition(".")
    return farm, place if dot else None


def _show_note(found: ShownNote) -> None:
    kept = found.note
    where = kept.block_id or "whole farm"
    out.print(Text(f"{kept.day} {where}, {kept.visitor}  [{kept.note_id}]", style="bold"))
    for line in kept.text.splitlines():
        paragraph(line, indent="  ")
    if kept.corrected_by is not None:
        paragraph(f"! Corrected by {kept.corrected_by}.", indent="  ")
    if kept.corrects is not None:
        paragraph(f"Corrects {kept.corrects}.", indent="  ")
    if found.measured:
        tests = ", ".join(f"{each.kind} of {each.block_id}" for each in found.measured)
        paragraph(f"On file of that day: {tests}.", indent="  ")
