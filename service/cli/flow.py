"""The command ``flow-check``: metered runs against what the block should take."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Annotated

import numpy as np
import typer
from rich.text import Text

from service.cli import shown
from service.cli.pipes import SvgOption, today_of, units_of, write_picture
from service.cli.terminal import (
    EXIT_UNFULFILLED,
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
from service.operations.waterworks import check_flow as flows
from service.operations.waterworks.check_flow import FlowReport
from service.operations.waterworks.draw_figures import flow_figure, text_profile
from service.operations.waterworks.learn_rate import RateOffer, get_rate_offer, use_rate


def flow_check(
    block: Annotated[str, typer.Argument(help="Block whose metered runs to check.")],
    first_day: Annotated[
        date | None,
        typer.Option("--from", parser=parse_day, metavar="DATE", help="Default: a year ago."),
    ] = None,
    last_day: Annotated[
        date | None, typer.Option("--to", parser=parse_day, metavar="DATE", help="Default: today.")
    ] = None,
    use_metered: Annotated[
        bool,
        typer.Option("--use-metered-flow", help="Plan with the emitter flow offered by the meter."),
    ] = False,
    use_stated: Annotated[
        bool,
        typer.Option("--use-stated-flow", help="Plan with the stated emitter flow again."),
    ] = False,
    svg: SvgOption = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare metered runs with what the block should take: clogging, leaks, closed valves.

    Exit code 1 if something changed that somebody should look at.
    """
    service = open_service()
    if use_metered and use_stated:
        raise typer.BadParameter("--use-metered-flow and --use-stated-flow exclude each other")
    offer = get_rate_offer(block, unit_of_work=service.unit_of_work, clock=service.clock)
    if use_metered or use_stated:
        wanted = offer.stated_l_per_h if use_stated else None
        with service.unit_of_work(write=True) as unit:
            offer, count = use_rate(unit, block, wanted, replanning=service.replanning)
        note(f"{shown.count(count, 'plan')} replaced")
    end = last_day or today_of(block, service)
    report = flows.record_flow_check(
        block,
        first_day=first_day or end - timedelta(days=365),
        last_day=end,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    write_picture(svg, flow_figure(report))
    if as_json:
        print_json(
            {
                "block_id": report.block_id,
                "verdict": report.verdict.name,
                "text": report.verdict.value,
                **flows.flow_document(report),
                "flow_origin": report.flow_origin,
                "cautions": report.cautions,
                "emitter_flow": _rate_document(offer),
            }
        )
    else:
        _show_flow(report)
        _show_rate(offer, units_of(block, service, units))
    if report.is_alarm:
        raise typer.Exit(EXIT_UNFULFILLED)


def _rate_document(offer: RateOffer) -> dict[str, object]:
    return {
        "run_count": offer.rate.run_count,
        "rate_ratio": offer.rate.rate_ratio if offer.rate.is_enough else None,
        "emitter_flow_l_per_h": offer.emitter_flow_l_per_h,
        "stated_l_per_h": offer.stated_l_per_h,
        "offered_l_per_h": offer.offered_l_per_h,
        "reason": offer.reason,
    }


def _show_rate(offer: RateOffer, units: UnitSystem) -> None:
    """Print what the meter says of the emitters, if there is a meter."""
    if not offer.rate.run_count:
        return
    out.print()
    paragraph(offer.reason)
    if offer.rate.is_enough:
        paragraph(
            f"Median of the last {shown.count(offer.rate.run_count, 'run')}:"
            f" {100.0 * offer.rate.rate_ratio:.0f} % of"
            f" {shown.small_flow(offer.emitter_flow_l_per_h, units)} an emitter, which plans count"
            f" with (standard error {100.0 * offer.rate.error_fraction:.0f} %)."
        )
    if offer.offered_l_per_h is not None:
        paragraph(
            "--use-metered-flow lets coming plans count with"
            f" {shown.small_flow(offer.offered_l_per_h, units)};"
            f" their minutes become {1.0 / offer.rate.rate_ratio:.2f} times as many."
        )
    if offer.is_learned:
        paragraph(
            "That flow is by the meter; stated are"
            f" {shown.small_flow(offer.stated_l_per_h, units)}, which"
            " --use-stated-flow goes back to."
        )


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
