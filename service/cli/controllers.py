"""Controllers and calendars, from the command line."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated

import orjson
import typer

from service.agronomy.civil_day import wall_text
from service.cli import shown
from service.cli.terminal import (
    JsonOption,
    note,
    open_service,
    out,
    plain_table,
    print_json,
    print_text,
)
from service.operations.access import share_calendar
from service.operations.evening.publish_programs import csv_body, json_body
from service.operations.farms import manage_controllers
from service.records.controllers import StoredController


def controllers(
    controller_id: Annotated[
        str | None,
        typer.Argument(
            help=("Show the program of this controller, farm.controller; default: list all.")
        ),
    ] = None,
    farm: Annotated[
        str | None, typer.Option("--farm", help="Only controllers of this farm.")
    ] = None,
    as_csv: Annotated[
        bool, typer.Option("--csv", help="The program as the controller gets it in CSV.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """List controllers and their channels, or show the program of one of them."""
    service = open_service()
    if controller_id is None:
        found = manage_controllers.list_controllers(farm, unit_of_work=service.unit_of_work)
        if as_json:
            print_json({"items": [_document(each) for each in found]})
        else:
            _show_list(found)
        return
    view = manage_controllers.get_controller(controller_id, unit_of_work=service.unit_of_work)
    program, now = view.program.program, int(service.clock.now().timestamp())
    if as_csv and program is not None:
        print_text(csv_body(program.csv_text, now).decode("ascii").rstrip("\n"))
        return
    content = None if program is None else orjson.loads(json_body(program.json_text, now))
    if as_json:
        print_json({**_document(view.controller), "program": content})
        return
    _show_list([view.controller])
    if content is None:
        note("no program has been published for it yet")
        return
    _show_program(content["program"], view.controller)


def calendar_link(
    farm: Annotated[str, typer.Argument(help="The farm.")],
    base_url: Annotated[
        str | None, typer.Option("--base-url", help="Public address of the service.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Make a secret link to a farm's calendar and show it once; the previous link stops working."""
    service = open_service()
    secret = share_calendar.renew_link(farm, unit_of_work=service.unit_of_work, clock=service.clock)
    base = base_url or f"http://{service.settings.host}:{service.settings.port}"
    links = share_calendar.calendar_links(secret, base)
    if as_json:
        print_json({"farm_id": farm, "link": links.plans, "season_link": links.season})
        return
    print_text(links.plans)
    note("Anyone with this link can read the farm's plans. It is not shown again.")
    note("For the season's tasks put /season.ics in the place of its .ics.")
    note("With ?language=es behind it either is in Spanish.")


def _document(stored: StoredController) -> dict[str, object]:
    controller = stored.definition
    return {
        "controller_id": controller.controller_id,
        "farm_id": controller.farm_id,
        "name": controller.name,
        "policy": controller.policy,
        "retired_at": stored.retired_at,
        "channels": [
            {
                "channel": each.channel,
                "block_id": each.block_id,
                "fallback": [
                    {"start": wall_text(run.start_wall_min), "duration_min": run.duration_min}
                    for run in each.fallback
                ],
            }
            for each in controller.channels
        ],
    }


def _show_list(found: list[StoredController]) -> None:
    if not found:
        out.print("There are no controllers; [[controller]] in a farm file adds one.")
        return
    table = plain_table("Controller", "Channel", "Block", "Without a program", "State")
    for stored in found:
        controller = stored.definition
        state = "in use" if stored.retired_at is None else "retired"
        for place, channel in enumerate(controller.channels):
            runs = ", ".join(
                f"{wall_text(run.start_wall_min)} {run.duration_min} min"
                for run in channel.fallback
            )
            if controller.policy == "stop":
                runs = ""
            table.add_row(
                controller.controller_id if place == 0 else "",
                str(channel.channel),
                channel.block_id,
                runs or "nothing",
                state if place == 0 else "",
            )
    out.print(table)


def _show_program(program: dict[str, object], stored: StoredController) -> None:
    zone = str(program["zone"])
    begins, ends = (
        shown.moment(_instant(program[name]), zone)
        for name in ("valid_from_epoch_s", "valid_until_epoch_s")
    )
    out.print()
    out.print(f"Program {program['program_id']}, valid from {begins} to {ends}")
    blocks = {each.channel: each.block_id for each in stored.definition.channels}
    table = plain_table("Channel", "Block", "Start", "Minutes", "Daily maximum", right=(3, 4))
    channels = program["channels"]
    if isinstance(channels, list):
        for channel in channels:
            maximum = f"{channel['daily_maximum_min']} min"
            rows = [
                (shown.moment(_instant(start), zone), str(minutes))
                for start, _, minutes in channel["openings"]
            ] or [("hold", "0")]
            for start, minutes in rows:
                table.add_row(
                    str(channel["channel"]), blocks.get(channel["channel"], ""), start, minutes,
                    maximum,
                )  # fmt: skip
    out.print(table)


def _instant(epoch_s: object) -> datetime:
    return datetime.fromtimestamp(float(str(epoch_s)), UTC)
