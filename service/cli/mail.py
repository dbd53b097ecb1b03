"""Mail: preview it, send it by hand, and manage who gets it."""

from __future__ import annotations

import os
import socket
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from service.attributions import ATTRIBUTIONS
from service.bootstrap import Service, mail_identity, make_composer, make_post
from service.cli import shown
from service.cli.evening import outcome_text
from service.cli.plans import PlanDayOption
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    plain_table,
    print_json,
)
from service.errors import Conflict, Fault, InputInvalid, NotFound
from service.operations.access.people import (
    checked_address,
    list_people,
    remove_person,
    resume_person,
    save_person,
)
from service.operations.mail.evening_mail import EVENING, evening_letter
from service.operations.mail.send_mail import deliver
from service.operations.mail.weekly_bulletin import BULLETIN, bulletin_letter
from service.operations.mail.weekly_summary import WEEKLY, week_before, weekly_letter
from service.operations.reading.read_farms import list_farms, local_day
from service.records.letters import Letter, MailStamp
from service.records.mail import MAIL_LISTS, Person


class MailKind(StrEnum):
    """Mails that can be previewed."""

    EVENING = EVENING
    WEEKLY = WEEKLY
    BULLETIN = BULLETIN


class Language(StrEnum):
    """Languages of the mails."""

    EN = "en"
    ES = "es"


class Role(StrEnum):
    """Who gets mail."""

    GROWER = "grower"
    ADVISER = "adviser"


def mail(
    out_file: Annotated[
        Path | None, typer.Argument(help="File for the preview: OUT.eml or OUT.html.")
    ] = None,
    preview: Annotated[
        bool, typer.Option("--preview", help="Write a mail to a file without sending it.")
    ] = False,
    send: Annotated[bool, typer.Option("--send", help="Send all mails that are due.")] = False,
    farm: Annotated[str | None, typer.Option("--farm", help="Farm whose mail to preview.")] = None,
    kind: Annotated[MailKind, typer.Option("--kind", help="Kind of mail.")] = MailKind.EVENING,
    on: PlanDayOption = None,
    lang: Annotated[Language, typer.Option("--lang")] = Language.EN,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Preview a mail, or send by hand what is due."""
    if preview == send:
        raise InputInvalid(
            "choose what to do with the mail",
            [Fault("mail", "neither or both", "--preview, --send")],
        )
    service = open_service()
    if send:
        _send(service, as_json=as_json)
        return
    if out_file is None or out_file.suffix not in {".eml", ".html"}:
        raise InputInvalid(
            "there is no file for the preview",
            [Fault("OUT", str(out_file or "nothing"), "a file name that ends in .eml or .html")],
        )
    _preview(service, out_file, farm=farm, kind=kind, on=on, lang=lang, units=units)


def _send(service: Service, *, as_json: bool) -> None:
    post = make_post(service, owner=f"{socket.gethostname()}:{os.getpid()}")
    if post is None:
        raise Conflict("no mail relay is set; set RILLWRIGHT_MAIL_HOST")
    outcome = deliver(post)
    counts = {
        "sent": outcome.sent_count,
        "put off": outcome.put_off_count,
        "failed": outcome.failed_count,
        "dropped": outcome.dropped_count,
    }
    if as_json:
        print_json({**counts, "trouble": outcome.trouble})
    else:
        out.print(
            ", ".join(f"{count} {state}" for state, count in counts.items() if count)
            or "no mail is due"
        )
    if outcome.trouble:
        note(f"error: the relay cannot be used: {outcome.trouble}")
    if outcome.trouble or outcome.failed_count or outcome.dropped_count:
        raise typer.Exit(EXIT_UNFULFILLED)


def _preview(
    service: Service,
    out_file: Path,
    *,
    farm: str | None,
    kind: MailKind,
    on: date | None,
    lang: Language,
    units: UnitSystem | None,
) -> None:
    farms = list_farms([farm] if farm else None, unit_of_work=service.unit_of_work)
    if not farms:
        raise NotFound("there is no farm yet; `rillwright load FARM.toml` loads one")
    chosen = farms[0]
    reader = Person(
        mail_address=f"somebody@{service.settings.domain}",
        name="Somebody",
        language=lang.value,
        unit_system=(units or UnitSystem(chosen.unit_system)).value,
    )
    letter: Letter
    if kind is MailKind.EVENING:
        letter = evening_letter(
            chosen, on, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS
        )
    else:
        last_day = on or week_before(local_day(service.clock.now(), chosen.zone))[1]
        if kind is MailKind.WEEKLY:
            letter = weekly_letter(
                chosen, last_day, unit_of_work=service.unit_of_work, attributions=ATTRIBUTIONS
            )
        else:
            letter = bulletin_letter(
                reader,
                last_day,
                unit_of_work=service.unit_of_work,
                clock=service.clock,
                source_order=service.source_order,
                attributions=ATTRIBUTIONS,
            )
    stamp = MailStamp(
        message_id=f"preview@{service.settings.domain}",
        written_at=service.clock.now(),
        link_token="preview",
        timer_token="preview",
    )
    if out_file.suffix == ".eml":
        content = make_composer(service)(letter, reader, stamp)
    else:
        from service.delivery.message import html_of

        content = html_of(letter, reader, stamp, identity=mail_identity(service)).encode()
    out_file.write_bytes(content)
    out.print(f"{out_file}: {len(content):,} bytes")


# --- people ------------------------------------------------------------------------------------

people = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    help="Who gets mail: list, add, remove, resume.",
)

AddressArgument = Annotated[str, typer.Argument(metavar="ADDRESS", help="Mail address.")]
ListsOption = Annotated[
    list[str] | None,
    typer.Option("--gets", help="evening, weekly; may be repeated. Default: both."),
]


@people.command("list")
def list_all(
    farm: Annotated[str | None, typer.Option("--farm", help="Only people of this farm.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Show who gets which mails."""
    service = open_service()
    found = list_people(farm_id=farm, unit_of_work=service.unit_of_work)
    if as_json:
        print_json(
            [
                {
                    "mail_address": known.person.mail_address,
                    "name": known.person.name,
                    "role": known.person.role,
                    "language": known.person.language,
                    "unit_system": known.person.unit_system,
                    "receives": known.person.receives,
                    "farm_id": known.farm_id or None,
                    "suppressed_at": known.suppressed_at,
                    "suppressed_reason": known.suppressed_reason,
                }
                for known in found
            ]
        )
        return
    table = plain_table("Address", "Name", "Role", "Gets", "In", "Farm")
    for known in found:
        person = known.person
        table.add_row(
            person.mail_address,
            person.name,
            person.role,
            "nothing" if known.suppressed_at else ", ".join(person.receives) or "nothing",
            f"{person.language}, {person.unit_system}",
            known.farm_id,
        )
    out.print(table if found else "nobody gets mail")
    for known in found:
        if known.suppressed_at is not None:
            out.print(
                f"! {known.person.mail_address} gets nothing since"
                f" {shown.moment(known.suppressed_at, 'UTC')}: {known.suppressed_reason}"
            )


@people.command()
def add(
    address: AddressArgument,
    name: Annotated[str, typer.Option("--name", help="The person's name.")],
    farm: Annotated[
        list[str] | None,
        typer.Option("--farm", help=("A farm the person belongs to; may be repeated.")),
    ] = None,
    role: Annotated[Role, typer.Option("--role")] = Role.GROWER,
    lang: Annotated[Language, typer.Option("--lang")] = Language.EN,
    units: Annotated[UnitSystem, typer.Option("--units")] = UnitSystem.US,
    gets: ListsOption = None,
    block: Annotated[
        str, typer.Option("--block", help="An adviser's reference block; default: the first.")
    ] = "",
) -> None:
    """Add or change a person; unsubscribed people stay unsubscribed."""
    if (role is Role.GROWER) != bool(farm):
        raise InputInvalid(
            "a grower gets mail about farms, an adviser about all counties",
            [Fault("--farm", ", ".join(farm or []) or "nothing", "farms for a grower only")],
        )
    person = Person(
        mail_address=checked_address(address, where="ADDRESS"),
        name=name,
        language=lang.value,
        unit_system=units.value,
        role=role.value,
        receives=_lists(gets),
        reference_block_id=block,
    )
    service = open_service()
    outcome = save_person(person, farm_ids=farm or [], unit_of_work=service.unit_of_work)
    out.print(f"{person.mail_address}: {outcome_text(outcome)}")


@people.command()
def remove(address: AddressArgument) -> None:
    """Delete a person and all their mail."""
    remove_person(
        checked_address(address, where="ADDRESS"), unit_of_work=open_service().unit_of_work
    )
    out.print(f"{address}: removed")


@people.command()
def resume(address: AddressArgument, gets: ListsOption = None) -> None:
    """Resume mail to somebody who unsubscribed or whose address was refused; ask them first."""
    resume_person(
        checked_address(address, where="ADDRESS"),
        receives=_lists(gets),
        unit_of_work=open_service().unit_of_work,
    )
    out.print(f"{address}: gets mail again")


def _lists(gets: list[str] | None) -> tuple[str, ...]:
    chosen = tuple(gets) if gets else MAIL_LISTS
    wrong = [each for each in chosen if each not in MAIL_LISTS]
    if wrong:
        raise InputInvalid(
            "there is no such mail", [Fault("--gets", wrong[0], " or ".join(MAIL_LISTS))]
        )
    return chosen
