"""The command ``flow-check``: metered runs against what the block should take."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated

import numpy as np
import typer
from rich.text import Text

from service.cli import shown
from service.cli.pipes import SvgOption, today_of, write_picture
from service.cli.terminal import (
    EXIT_UNFULFILLED,
    JsonOption,
    open_service,
    out,
    paragraph,
    parse_day,
    print_json,
)
from service.operations.waterworks import check_flow as flows
from service.operations.waterworks.check_flow import FlowReport
from service.operations.waterworks.draw_figures import flow_figure, text_profile


def flow_check(
    block: Annotated[str, typer.Argument(help="Block whose metered runs to check.")],
    first_day: Annotated[
        date | None,
        typer.Option("--from", parser=parse_day, metavar="DATE", help="Default: a year ago."),
    ] = None,
    last_day: Annotated[
        date | None, typer.Option("--to", parser=parse_day, metavar="DATE", help="Default: today.")
    ] = None,
    svg: SvgOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare metered runs with what the block should take: clogging, leaks, closed valves.

    Exit code 1 if something changed that somebody should look at.
    """
    service = open_service()
    end = last_day or today_of(block, service)
    report = flows.record_flow_check(
        block,
        first_day=first_day or end - timedelta(days=365),
        last_day=end,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    write_picture(svg, flow_figure(report))
    document = flows.flow_document(report)
    if as_json:
        print_json(
            {
                "block_id": report.block_id,
                "verdict": report.verdict.name,
                "text": report.verdict.value,
                **document,
                "flow_origin": report.flow_origin,
                "cautions": report.cautions,
            }
        )
    else:
        _show_flow(report)
    if report.is_alarm:
        raise typer.Exit(EXIT_UNFULFILLED)


def _show_flow(report: FlowReport) -> None:
    out.print(Text(f"{report.block_id}: {report.verdict.value}", style="bold"))
    out.print(f"{shown.count(report.days.size, 'metered run')}; expected by {report.flow_origin}")
    for jump in report.check.jumps:
        out.print(f"  {report.days[jump.run]}: {100.0 * jump.change_fraction:+.0f} % at once")
    slow = report.check.slow_change
    if slow is not None:
        out.print(
            f"  from {report.days[slow.from_run]} on: {100.0 * slow.change_fraction:+.0f} % slowly"
        )
    for text in text_profile(report.check.ratio[np.isfinite(report.check.ratio)].tolist()):
        out.print(text)
    for text in report.cautions:
        paragraph(f"! {text}")
