"""The blocks of a farm as long lists and forms show them: by what they draw on, as people count."""

from __future__ import annotations

from service.delivery.plain_text import reading_order
from service.pages.whole_name import whole_name
from service.records.farms import BlockDefinition, FarmBundle


def blocks_by_supply(bundle: FarmBundle) -> list[tuple[str, list[BlockDefinition]]]:
    """The name of each supply that has blocks, with its blocks in reading order."""
    in_order = sorted(bundle.blocks, key=lambda block: reading_order(block.name))
    grouped = (
        (whole_name(supply.name), [each for each in in_order if each.supply_id == supply.supply_id])
        for supply in bundle.supplies
    )
    return [(name, blocks) for name, blocks in grouped if blocks]


def names_in_order(bundle: FarmBundle) -> dict[str, str]:
    """The names of all blocks by id, in reading order."""
    in_order = sorted(bundle.blocks, key=lambda block: reading_order(block.name))
    return {block.block_id: block.name for block in in_order}
