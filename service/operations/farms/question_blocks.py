"""What may be a slip in blocks that are otherwise allowed: asked, not refused."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from service.records.farms import BlockDefinition


def questions_of(blocks: Iterable[BlockDefinition], day: date) -> tuple[str, ...]:
    """What to ask about some blocks on a day, in English."""
    return tuple(
        f"{block.block_id}: planting year {block.planting_year:.0f} is after {day.year}; is that"
        " meant? Until then it is treated as just planted."
        for block in blocks
        if block.planting_year > day.year  # NaN: not given
    )
