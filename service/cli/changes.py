"""The record of changes from the command line."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

import orjson
import typer
from rich.text import Text

from service.cli import shown
from service.cli.terminal import (
    JsonOption,
    note,
    open_service,
    out,
    paragraph,
    parse_start,
    print_json,
)
from service.operations.audit.read_audit import read_audit
from service.operations.feedback.reported_time import on_clock
from service.operations.reading.read_farms import list_farms
from service.records.audit import AuditEntry, Document, Subject
from service.translations.wording import wording


def changes(
    farm: Annotated[str, typer.Argument(help="Farm whose record of changes is shown.")],
    subject: Annotated[
        Subject | None,
        typer.Option(
            "--of",
            metavar="KIND",
            help="Only changes of this kind of thing, such as block, runs or weather.",
        ),
    ] = None,
    since: Annotated[
        datetime | None,
        typer.Option(
            "--since",
            parser=parse_start,
            metavar="YYYY-MM-DDTHH:MM",
            help="Only changes from then on, on the farm's clock.",
        ),
    ] = None,
    count: Annotated[int, typer.Option("--count", min=1, max=1000, help="Most changes.")] = 50,
    as_json: JsonOption = False,
) -> None:
    """Show who changed what at a farm, the newest change first."""
    service = open_service()
    (stored,) = list_farms([farm], unit_of_work=service.unit_of_work)
    found = read_audit(
        farm,
        count=count,
        subjects=() if subject is None else (subject,),
        between=(None if since is None else on_clock(since, stored.zone), None),
        unit_of_work=service.unit_of_work,
    )
    if as_json:
        print_json(
            {"items": [_document(each) for each in found.entries], "has_more": found.has_more}
        )
        return
    if not found.entries:
        note(f"no change of {farm} is recorded")
    words = wording("en", stored.unit_system)
    for entry in found.entries:
        when = words.moment(entry.at, stored.zone)
        head = f"{when}  {entry.subject} {entry.subject_id}: {_verb(entry)} by {_who(entry)}"
        out.print(Text(head, style="bold"), soft_wrap=True)
        for name in {**(entry.before or {}), **(entry.after or {})}:
            paragraph(f"{name}: {_step(entry, name)}", indent="    ")
    if found.has_more:
        note(f"there are older ones; --count shows more than {shown.count(count, 'change')}")


def _verb(entry: AuditEntry) -> str:
    if entry.before is None:
        return "added"
    return "removed" if entry.after is None else "changed"


def _who(entry: AuditEntry) -> str:
    actor = entry.actor
    named = " ".join(part for part in (actor.name, f"({actor.actor_id})") if part.strip("()"))
    return f"{named or actor.kind}, {actor.entrance}"


def _step(entry: AuditEntry, name: str) -> str:
    sides = [_value(side, name) for side in (entry.before, entry.after) if side is not None]
    return " -> ".join(sides)


def _value(document: Document, name: str) -> str:
    return orjson.dumps(document.get(name)).decode()


def _document(entry: AuditEntry) -> dict[str, Any]:
    actor = entry.actor
    return {
        "change_id": str(entry.entry_key),
        "at": entry.at.isoformat(),
        "farm_id": entry.farm_id,
        "actor": {
            "kind": actor.kind.value,
            "id": actor.actor_id,
            "name": actor.name,
            "entrance": actor.entrance.value,
        },
        "subject": entry.subject.value,
        "subject_id": entry.subject_id,
        "before": entry.before,
        "after": entry.after,
    }
