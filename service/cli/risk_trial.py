"""What weighing the forecast would have done in a block, in a terminal."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated

import typer
from rich.text import Text

from service.agronomy.risk_attitude import attitude_named
from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.plans import farms_by_id
from service.cli.saved_table import words_of
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    paragraph,
    parse_day,
    plain_table,
    print_json,
)
from service.delivery.trial_words import trial_sentence
from service.operations.farms.choose_attitude import choose_attitude
from service.operations.reading.read_risk_trial import (
    DEFAULT_DAYS,
    RiskTrial,
    read_risk_trial,
    trial_document,
)
from service.records.shadow import CourseSums


def risk_trial(
    block: Annotated[str, typer.Argument(help="Block whose days on paper are shown.")],
    first_day: Annotated[
        date | None,
        typer.Option(
            "--from",
            parser=parse_day,
            metavar="DATE",
            help=f"First day; default: {DEFAULT_DAYS} days up to the last.",
        ),
    ] = None,
    last_day: Annotated[
        date | None,
        typer.Option("--to", parser=parse_day, metavar="DATE", help="Last; default: yesterday."),
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """What weighing the forecast would have done, on paper, beside the evening rule."""
    service = in_its_own_time(open_service())
    found = read_risk_trial(
        block,
        first_day=first_day,
        last_day=last_day,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
    )
    if as_json:
        print_json(trial_document(found))
        return
    farm = farms_by_id(service)[found.block.farm_id]
    out.print(Text(f"{found.block.name} ({found.block.block_id})", style="bold"))
    _show(found, units or UnitSystem(farm.unit_system))
    if found.sums is not None:
        paragraph(trial_sentence(found.sums, words_of(farm, units)))


def _show(found: RiskTrial, units: UnitSystem) -> None:
    sums = found.sums
    if sums is None:
        why = "no day on paper is over yet" if found.is_kept else "nothing is kept on paper"
        note(f"{why}: it is kept from evening to evening for blocks without `risk_attitude`")
        return
    table = plain_table(
        "", "Water", "Drained", "Lost use", "Days short", "Cost", right=(1, 2, 3, 4, 5),
    )  # fmt: skip
    for name, course in (("evening rule", sums.rule), ("balanced", sums.weighed)):
        table.add_row(name, *_cells(course, units))
    out.print(table)
    paragraph(
        f"{shown.count(sums.day_count, 'day')} from {shown.long_day(sums.first_day)} to"
        f" {shown.long_day(sums.last_day)}; on {sums.spread_day_count} the forecast had a spread,"
        f" on {sums.weighed_day_count} no guard kept the evening rule. Both rules are carried on"
        " paper with the same forecasts and weather, whatever was run. Cost: water and drainage,"
        " and 40 times what dry soil cost the crop of its use."
    )


def _cells(course: CourseSums, units: UnitSystem) -> tuple[str, ...]:
    return (
        shown.depth(course.net_mm, units),
        shown.depth(course.drainage_mm, units),
        shown.depth(course.lost_et_mm, units),
        str(course.short_day_count),
        shown.depth(course.risk_cost_mm, units),
    )


class Attitude(StrEnum):
    """What a block does with a forecast that may be wrong."""

    CLASSIC = "classic"
    CAREFUL_CROP = "careful-crop"
    BALANCED = "balanced"
    CAREFUL_WATER = "careful-water"


def risk_attitude(
    block: Annotated[str, typer.Argument(help="Block for which it is chosen.")],
    attitude: Annotated[Attitude, typer.Argument(help="classic keeps the evening rule for good.")],
    as_json: JsonOption = False,
) -> None:
    """Choose what a block does with a forecast that may be wrong, from today on."""
    service = in_its_own_time(open_service())
    with service.unit_of_work(write=True) as unit:
        changed, count = choose_attitude(
            unit, block, attitude_named(attitude.value), replanning=service.replanning
        )
    if as_json:
        print_json({"block_id": changed.block_id, "risk_attitude": attitude.value,
                    "new_plan_count": count})  # fmt: skip
        return
    plans = shown.count(count, "plan")
    paragraph(f"{changed.block_id}: {attitude.value} from today on; {plans} changed.")
