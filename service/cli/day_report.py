"""The command that reports a farm's day in one go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Annotated

import typer

from service.cli import shown
from service.cli.terminal import JsonOption, open_service, out, parse_day, print_json
from service.errors import InputInvalid
from service.operations.feedback.report_day import (
    DayReport,
    DayToReport,
    ReportedDays,
    days_to_report,
    report_days,
)


def report_day(
    farm: Annotated[str, typer.Argument(help="Farm whose day is reported.")],
    day: Annotated[
        date | None,
        typer.Option(
            "--date",
            parser=parse_day,
            metavar="YYYY-MM-DD",
            help="The day; without it the days that wait for a report are listed.",
        ),
    ] = None,
    ran: Annotated[
        list[str] | None,
        typer.Option(
            "--ran",
            metavar="BLOCK=MINUTES",
            help="A block that differed, with the minutes it ran that day, 0 for none; may be"
            " repeated. All others ran as planned.",
        ),
    ] = None,
    all_days: Annotated[
        bool, typer.Option("--all", help="All days that wait for a report ran as planned.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Report a day that is over: all blocks ran as planned, or some differed."""
    if all_days and (day is not None or ran):
        raise typer.BadParameter("--all is for days that ran as planned: without --date and --ran")
    if ran and day is None:
        raise typer.BadParameter("--ran needs the day: --date YYYY-MM-DD")
    ran_min = dict(_parsed(farm, text) for text in ran or ())
    service = open_service()
    with service.unit_of_work(write=False) as unit:
        waiting = days_to_report(unit, farm, now=service.clock.now())
    reports = (
        [DayReport(each.day) for each in waiting]
        if all_days
        else [DayReport(day, ran_min)]
        if day is not None
        else []
    )
    if not reports:
        _list(farm, waiting, as_json=as_json)
        return
    with service.unit_of_work(write=True) as unit:
        try:
            done = report_days(
                unit, farm, reports, reporter="command line", replanning=service.replanning
            )
        except InputInvalid as error:
            raise InputInvalid(
                error.message, [replace(each, where=_option(each.where)) for each in error.faults]
            ) from error
    _print(farm, reports, done, as_json=as_json)


def _parsed(farm: str, text: str) -> tuple[str, float]:
    block, _, minutes = text.partition("=")
    try:
        value = float(minutes)
    except ValueError:
        message = f"{text!r} is not a block with its minutes, such as north=45"
        raise typer.BadParameter(message) from None
    return (block if "." in block else f"{farm}.{block}"), value


def _option(where: str) -> str:
    """The option that a place of the operation's input was given by."""
    return "--ran" if "/ran_min/" in where else "--date"


def _list(farm: str, waiting: Sequence[DayToReport], *, as_json: bool) -> None:
    if as_json:
        print_json(
            [
                {
                    "day": each.day,
                    "planned_min": {block.block_id: block.planned_min for block in each.blocks},
                    "reported": sorted(each.reported_ids),
                }
                for each in waiting
            ]
        )
        return
    if not waiting:
        out.print(f"{farm}: every day that is over has been reported")
    for each in waiting:
        blocks = ", ".join(f"{block.block_id} {block.planned_min} min" for block in each.blocks)
        out.print(f"{each.day}: {blocks}")


def _print(farm: str, reports: Sequence[DayReport], done: ReportedDays, *, as_json: bool) -> None:
    if as_json:
        print_json(
            {
                "days": [each.day for each in reports],
                "run_count": done.run_count,
                "new_version_count": done.new_version_count,
                "kept": [{"day": day, "block_id": block_id} for day, block_id in done.kept],
            }
        )
        return
    replaced = (
        f"{shown.count(done.new_version_count, 'plan')} replaced"
        if done.new_version_count
        else "no plan changes"
    )
    out.print(f"{farm}: {shown.count(done.run_count, 'run')} stored; {replaced}")
    for day, block_id in done.kept:
        out.print(f"{day} {block_id}: reported before, and stays so")
