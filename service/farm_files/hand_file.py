"""The valve of a block that somebody opens by hand, read from a farm file."""

from __future__ import annotations

from service.agronomy.records import WallWindow
from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import BlockKeys
from service.farm_files.block_part_keys import HandKeys
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable


def read_visits(table: TomlTable, draft: BlockDraft) -> tuple[WallWindow, ...]:
    """When somebody is there to open the valve of a ``[[block]]``; empty without such a valve.

    Unless the block gives the most pulses of a day, it has one for each visit.
    """
    hand = table.table(BlockKeys.hand)
    if hand is None:
        return ()
    visits = hand.windows(HandKeys.visits)
    if not hand.has(HandKeys.visits):
        hand.refuse(HandKeys.visits, "nothing", "such as ['07:00-07:30', '19:00-20:00']")
    hand.close()
    if table.has(BlockKeys.timer):
        table.refuse(
            BlockKeys.hand,
            show(table.value(BlockKeys.hand)),
            "either [block.hand] or [block.timer]: a timer opens the valve by itself",
        )
    if visits and not table.has(BlockKeys.max_pulses_per_day):
        field = BlockKeys.max_pulses_per_day.field
        draft.numbers[field] = float(len(visits))
        draft.origins[field] = "choice: one pulse for each visit"
    return visits
