"""The log book of a farm from the command line."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

import typer
from rich.text import Text

from service.cli.demo_clock import in_its_own_time
from service.cli.saved_table import SaveOption, save_table, words_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    print_json,
)
from service.delivery.log_words import LogLine, Telling, log_line
from service.operations.audit.log_book import (
    MOST_ENTRIES,
    PAGE_SIZE,
    LogKind,
    LogWish,
    read_log_book,
)
from service.operations.exports.log_table import log_table


def log_book(
    place: Annotated[str, typer.Argument(help="A farm, or a block: `farm.block`.")],
    kind: Annotated[
        LogKind | None, typer.Option("--kind", help="Only entries of this kind.")
    ] = None,
    first_day: Annotated[
        date | None, typer.Option("--from", parser=parse_day, metavar="DATE", help="First day.")
    ] = None,
    last_day: Annotated[
        date | None, typer.Option("--to", parser=parse_day, metavar="DATE", help="Last day.")
    ] = None,
    count: Annotated[
        int | None,
        typer.Option(
            "--count", min=1, max=MOST_ENTRIES, help=f"Most entries; {PAGE_SIZE}, or all of a file."
        ),
    ] = None,
    units: UnitsOption = None,
    save: SaveOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what was reported, noted and changed, in plain sentences, the newest first."""
    service = in_its_own_time(open_service())
    farm_id, dot, _ = place.partition(".")
    most = MOST_ENTRIES if save is not None else PAGE_SIZE
    book = read_log_book(
        LogWish(
            farm_id=farm_id,
            block_id=place if dot else None,
            kind=kind,
            first_day=first_day,
            last_day=last_day,
            count=count or most,
        ),
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    farm = book.farm
    words = words_of(farm, units)
    telling = Telling(words, farm.zone, book.names)
    lines = [log_line(each.change, each.note, telling) for each in book.entries]
    if save is not None:
        save_table(save, log_table(lines, farm, words, span=(first_day, last_day)))
        return
    if as_json:
        print_json({"items": [_document(each) for each in lines], "has_more": book.has_more})
        return
    if not lines:
        note(f"nothing is recorded of {place} for this choice")
    for line in lines:
        head = f"{words.moment(line.at, farm.zone)}  {line.about}, {line.kind.lower()}"
        out.print(Text(head, style="bold"), soft_wrap=True)
        for text in (*line.sentences, *line.text.splitlines()):
            paragraph(text, indent="  ")
        paragraph(line.who, indent="  ", style="dim")
    if book.has_more:
        note("there are earlier entries; --count or --to shows them")


def _document(line: LogLine) -> dict[str, Any]:
    return {
        "at": line.at.isoformat(),
        "kind": line.kind,
        "about": line.about,
        "sentences": line.sentences,
        "text": line.text,
        "who": line.who,
    }
