"""The coming week if something were otherwise, from the command line; nothing is stored."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, replace
from datetime import date
from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.plans import farms_by_id
from service.cli.terminal import (
    JsonOption,
    UnitsOption,
    UnitSystem,
    note,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.operations.review.what_if import what_if as ask_what_if
from service.records.what_if import (
    BlockAhead,
    ChangeTexts,
    ComingWeek,
    DayAhead,
    WeekAhead,
)
from service.unit_sizes import L_PER_GALLON, L_PER_M3

PumpDownOption = Annotated[
    int | None,
    typer.Option(
        "--pump-down",
        min=1,
        max=7,
        metavar="DAYS",
        help="Days from tomorrow on without water from the supply.",
    ),
]


def what_if(
    farm: Annotated[str, typer.Argument(help="Farm whose coming week is asked about.")],
    block: Annotated[
        str | None,
        typer.Option("--block", help="The block it is about; default: all of the supply."),
    ] = None,
    supply: Annotated[
        str | None,
        typer.Option("--supply", help="The supply it is about; default: the block's, else all."),
    ] = None,
    pump_down: PumpDownOption = None,
    flow: Annotated[
        str | None, typer.Option("--flow", help="What the supply gives: '20 gpm' or '50 %'.")
    ] = None,
    windows: Annotated[
        str | None,
        typer.Option("--windows", help="Other hours: '04:00-08:00, 20:00-22:00'."),
    ] = None,
    emitter_flow: Annotated[
        str | None, typer.Option("--emitter-flow", help="Other emitters: '1 gph'.")
    ] = None,
    emitter_spacing: Annotated[
        str | None, typer.Option("--emitter-spacing", help="The distance between them: '12 in'.")
    ] = None,
    skip_tomorrow: Annotated[
        bool, typer.Option("--skip-tomorrow", help="No water tomorrow.")
    ] = False,
    rain: Annotated[
        str | None,
        typer.Option("--rain", help="Rain that surely falls tomorrow: '0.5 in'."),
    ] = None,
    units: UnitsOption = None,
    as_json: JsonOption = False,
) -> None:  # fmt: skip
    """Ask what would change in the coming week; nothing is stored."""
    service = in_its_own_time(open_service())
    texts = ChangeTexts(
        flow=flow, windows=windows, emitter_flow=emitter_flow, emitter_spacing=emitter_spacing,
        rain=rain,
    )  # fmt: skip
    change = replace(
        service.farm_format.change(texts),
        supply_id=supply,
        block_id=block,
        pump_down_days_count=pump_down,
        skips_tomorrow=skip_tomorrow,
    )
    week = ask_what_if(
        farm,
        change,
        unit_of_work=service.unit_of_work,
        clock=service.clock,
        source_order=service.source_order,
    )
    if as_json:
        print_json(what_if_document(week))
        return
    _show(week, units or UnitSystem(farms_by_id(service)[farm].unit_system))


def what_if_document(week: ComingWeek) -> dict[str, object]:
    """The answer for JSON, in SI units."""
    return {
        "farm_id": week.farm_id,
        "days": week.days,
        "blocks": [
            {
                "block_id": block.block_id,
                "name": block.name,
                "supply_id": block.supply_id,
                "differs": block.differs,
                "now": _week_document(block.now),
                "changed": _week_document(block.changed),
            }
            for block in week.blocks
        ],
    }


def _week_document(week: WeekAhead) -> dict[str, object]:
    sums = {
        name: getattr(week, name)
        for name in ("expected_min", "gross_mm", "volume_l", "drainage_mm", "short_days_count",
                     "exceeds_supply")
    }  # fmt: skip
    return {"days": [asdict(day) for day in week.days], **sums}


def _show(week: ComingWeek, units: UnitSystem) -> None:
    if not week.blocks:
        note(f"{week.farm_id} has no blocks")
        return
    title = f"{week.farm_id}, {shown.long_day(week.days[0])} to {shown.long_day(week.days[-1])}"
    out.print(Text(title, style="bold"))
    _show_sums(week.blocks, units)
    changed = [block for block in week.blocks if block.differs]
    for block in changed:
        out.print()
        _show_days(block, week.days, units)
    same = len(week.blocks) - len(changed)
    out.print()
    if same:
        paragraph(f"{shown.count(same, 'block')} of {len(week.blocks)} stay as they are.")
    for text in _cautions(week.blocks):
        paragraph(f"! {text}", style="bold red")
    paragraph(
        "short: days that end with more missing from the root zone than the crop can do without,"
        " marked !. drained: of the water given and of the rain that is counted on. Nothing of this"
        " was stored."
    )


def _show_sums(blocks: Sequence[BlockAhead], units: UnitSystem) -> None:
    """One line a block: the sums of the week, now and with the change."""
    is_us = units is UnitSystem.US
    per_l = 1.0 / (L_PER_GALLON if is_us else L_PER_M3)
    table = plain_table(
        "Block", "minutes", "", "gal" if is_us else "m3", "",
        f"drained, {shown.depth_unit(units)}", "", "short", "",
        right=(1, 2, 3, 4, 5, 6, 7, 8),
    )  # fmt: skip
    table.columns[0].no_wrap = True
    table.columns[0].overflow = "ellipsis"

    table.add_row("", *["now", "changed"] * 4, style="dim")

    def volume(week: WeekAhead) -> str:
        return _or_unknown(week.volume_l * per_l, lambda value: f"{value:,.{0 if is_us else 1}f}")

    for block in blocks:
        table.add_row(
            block.name,
            *(_or_unknown(week.expected_min, "{:,.0f}".format) for week in _pair(block)),
            *(volume(week) for week in _pair(block)),
            *(_depth(week.drainage_mm, units) for week in _pair(block)),
            *(f"{week.short_days_count}" for week in _pair(block)),
        )
    out.print(table)


def _show_days(block: BlockAhead, days: Sequence[date], units: UnitSystem) -> None:
    """A block's days side by side: minutes, and what is missing at their ends."""
    table = plain_table(
        block.name, *(f"{day:%a} {day.day}" for day in days), right=tuple(range(1, len(days) + 1))
    )
    table.columns[0].no_wrap = True
    table.columns[0].overflow = "ellipsis"
    table.columns[0].max_width = 22
    for name, week in zip(("now", "changed"), _pair(block), strict=True):
        table.add_row(
            f"minutes, {name}",
            *(_or_unknown(day.expected_min, "{:.0f}".format) for day in week.days),
        )
    for name, week in zip(("now", "changed"), _pair(block), strict=True):
        table.add_row(
            f"missing, {name}, {shown.depth_unit(units)}",
            *(_missing(day, units) for day in week.days),
        )
    table.add_row(
        "water from", *(_depth(day.trigger_mm, units) for day in block.changed.days), style="dim"
    )
    out.print(table)


def _pair(block: BlockAhead) -> tuple[WeekAhead, WeekAhead]:
    return block.now, block.changed


def _missing(day: DayAhead, units: UnitSystem) -> str:
    return f"{'!' if day.is_short else ''}{_depth(day.depletion_end_mm, units)}"


def _depth(depth_mm: float, units: UnitSystem) -> str:
    return _or_unknown(depth_mm, lambda value: shown.bare_depth(value, units))


def _or_unknown(value: float, write: Callable[[float], str]) -> str:
    return "?" if math.isnan(value) else write(value)


def _cautions(blocks: Sequence[BlockAhead]) -> Iterator[str]:
    """Blocks that could not run at all."""
    for block in blocks:
        if block.changed.exceeds_supply and not block.now.exceeds_supply:
            yield f"{block.name} would take more than its supply gives, and could not run at all."
