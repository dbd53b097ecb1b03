"""The sheet for the pump house: a farm's day on one page of paper, with boxes to tick."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from service.delivery.day_order import BlockState
from service.delivery.evening_words import BlockWords, evening_words
from service.errors import NotFound
from service.operations.reading.read_farms import local_day
from service.pages.day_board import BoardView, board_view
from service.pages.day_view import day_view
from service.pages.plans import farm_of, letter_of
from service.pages.visit import Visit
from service.pages.whole_name import whole_name
from service.records.letters import BlockLine

MOST_LINES_WITH_NOTES = 12
"""Most openings that leave room for notes; both limits were found by printing on Letter."""
MOST_LINES = 18
"""Most openings, and most blocks, of which each has a line; more are grouped by block."""
MOST_BLOCKS_IN_FULL, MOST_OPENINGS_IN_FULL = 16, 64
"""Most blocks and openings of a sheet by block in large type."""
MOST_IN_ONE_COLUMN = 36
MOST_METERS = 4


@dataclass(frozen=True, slots=True)
class SheetBlock:
    """One block of a sheet by block."""

    line: BlockLine
    text: BlockWords


def show_sheet(visit: Visit) -> Response:
    """The plan of a farm's day on one page of paper."""
    farm = farm_of(visit)
    now = visit.service.clock.now()
    today = local_day(now, farm.zone)
    found = letter_of(visit, farm, today)
    if found is None:
        raise NotFound("no plan of that day")
    words = visit.words
    letter, bundle = found
    view = day_view(letter, bundle, words, now=now, today=today)
    content = evening_words(letter, words)
    opening_count, block_count = len(view.openings), len(letter.blocks)
    return visit.show(
        "sheet.html",
        farm=farm,
        letter=letter,
        content=content,
        volume=words.volume(sum(line.volume_l for line in letter.blocks)),
        openings=view.openings,
        sky=view.sky,
        has_notes=opening_count <= MOST_LINES_WITH_NOTES,
        is_long=max(opening_count, block_count) > MOST_LINES,
        is_dense=block_count > MOST_BLOCKS_IN_FULL or opening_count > MOST_OPENINGS_IN_FULL,
        is_split=block_count > MOST_IN_ONE_COLUMN,
        blocks=[
            SheetBlock(line, text) for line, text in zip(letter.blocks, content.blocks, strict=True)
        ],
        states=_states(board_view(letter, words)),
        meters=[whole_name(supply.name) for supply in bundle.supplies[:MOST_METERS]],
    )


def _states(board: BoardView) -> list[tuple[BlockState, list[str]]]:
    """Blocks that do not simply run, by state."""
    waits = dict(board.short)
    found: dict[BlockState, list[str]] = {}
    for item in board.items:
        if item.state is BlockState.SHORT:
            found.setdefault(item.state, []).append(f"{item.name} ({waits[item.name]})")
        elif item.state is BlockState.PAUSED:
            found.setdefault(item.state, []).append(f"{item.name} ({item.says})")
        elif item.state is not BlockState.WATER:
            found.setdefault(item.state, []).append(item.name)
    return list(found.items())
