"""A farm at a glance, from the command line: one line a block, the worst first."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.text import Text

from service.cli import shown
from service.cli.demo_clock import in_its_own_time
from service.cli.plan_text import STATE_WORDS, state_in_words
from service.cli.terminal import (
    JsonOption,
    note,
    open_service,
    out,
    paragraph,
    plain_table,
    print_json,
)
from service.delivery.day_order import BlockState
from service.operations.reading.farm_board import BoardLine, FarmBoard, farm_board

FarmArgument = Annotated[str, typer.Argument(help="Farm whose blocks are shown.")]


def farm(farm_id: FarmArgument, as_json: JsonOption = False) -> None:
    """Show a farm at a glance: one line a block, the worst first."""
    service = in_its_own_time(open_service())
    board = farm_board(farm_id, unit_of_work=service.unit_of_work, clock=service.clock)
    if as_json:
        print_json(board_document(board))
        return
    _show(board)


def board_document(board: FarmBoard) -> dict[str, object]:
    """The board for JSON."""
    return {
        "farm_id": board.farm_id,
        "today": board.today,
        "blocks": [
            {
                "block_id": line.block.block_id,
                "name": line.block.name,
                "plan_day": None if line.view is None else line.view.plan.day,
                "state": _state(line).lower(),
                "available_fraction": line.available_fraction,
                "used_raw_fraction": line.used_raw_fraction,
                "due_day": line.due_day,
                "due_in_days": board.due_in_days(line),
                "plan_min": None if line.view is None else line.view.plan.planned_min,
                "planned_min": line.planned_min,
                "run_min": line.run_min,
                "unreported_days_count": line.unreported_days_count,
            }
            for line in board.lines
        ],
    }


def _show(board: FarmBoard) -> None:
    out.print(Text(f"{board.farm_id}, {shown.long_day(board.today)}", style="bold"))
    if not board.lines:
        note(f"{board.farm_id} has no blocks")
        return
    table = plain_table(
        "Block", "State", "Left", "Water due", "Plan", "Planned", "Ran", "No report",
        right=(2, 4, 5, 6, 7),
    )  # fmt: skip
    table.columns[0].no_wrap = True
    table.columns[0].overflow = "ellipsis"
    for line in board.lines:
        plan = None if line.view is None else line.view.plan
        left = line.available_fraction
        table.add_row(
            line.block.name,
            _state(line),
            "?" if left is None else f"{left:.0%}",
            _due(board, line),
            "" if plan is None or not plan.planned_min else f"{plan.planned_min}",
            f"{line.planned_min:.0f}",
            f"{line.run_min:.0f}",
            f"{line.unreported_days_count or ''}",
        )
    out.print(table)
    paragraph(
        "Left: of the water that the root zone can hold for the crop, at the midnight that the plan"
        " begins with; the block that has used most of what it can use freely comes first. Plan:"
        f" minutes of its day. Planned, ran: minutes from {shown.short_day(board.first_day)} to"
        " today, of the days that were reported; no report: days with a plan and none."
    )


def _state(line: BoardLine) -> str:
    return STATE_WORDS[BlockState.UNKNOWN] if line.view is None else state_in_words(line.view)


def _due(board: FarmBoard, line: BoardLine) -> str:
    days = board.due_in_days(line)
    if line.view is None:
        return "?"
    if days is None:
        return "not this week"
    return {0: "today", 1: "tomorrow"}.get(days, f"in {days} days")
