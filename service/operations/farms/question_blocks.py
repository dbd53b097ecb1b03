"""What may be a slip in blocks that are otherwise allowed: asked, not refused."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import date

from service.records.farms import BlockDefinition

TWO_LINE_CROPS = frozenset({"berry-bush", "blueberry"})
"""Crops that commonly have a drip line on each side of the row: common practice, and the drip
treatment of Vargas et al. 2015, HortScience 50(6):897-903 (abstract)."""


BARK_AGES_YEARS = 2
"""Until then pine bark holds less than aged bark: Bandaranayake et al. 2018, SSSAJ (abstract)."""


def questions_of(blocks: Iterable[BlockDefinition], day: date) -> tuple[str, ...]:
    """What to ask about some blocks on a day, in English."""
    return tuple(question for block in blocks for question in _of_block(block, day.year))


def _of_block(block: BlockDefinition, year: int) -> Iterator[str]:
    if block.planting_year > year:  # NaN: not given
        yield (
            f"{block.block_id}: planting year {block.planting_year:.0f} is after {year}; is that"
            " meant? Until then it is treated as just planted."
        )
    for key in _canopy_that_stays(block, year):
        yield (
            f"{block.block_id}: {key} has no canopy_measured_on: it is taken as this year's size in"
            " every year, and the young plants do not grow from it."
        )
    if block.crop_key in TWO_LINE_CROPS and block.laterals_per_row_count <= 1.0:
        yield (
            f"{block.block_id}: one drip line per row, where two, one on each side of the plants,"
            " are common practice for this crop. Wetted soil and minutes follow from their number."
        )

    if block.texture_key == "pine-bark" and 0 <= year - block.planting_year < BARK_AGES_YEARS:
        yield (
            f"{block.block_id}: fresh pine bark holds far less than aged bark, 7 % of its volume"
            " against 21 %: for its first two years give measured water, or water less at a time"
            " and more often."
        )


def _canopy_that_stays(block: BlockDefinition, year: int) -> tuple[str, ...]:
    """Keys of a young planting's canopy that were given without the day of their measurement."""
    is_young = 0 <= year - block.planting_year < block.years_to_full_size  # NaN: full-grown
    if not is_young or not math.isnan(block.canopy_measured_year):
        return ()
    grows = {
        "canopy_cover": block.canopy_is_scaled,
        "canopy_height": block.canopy_height_is_scaled,
    }
    return tuple(key for key, is_scaled in grows.items() if not is_scaled)
