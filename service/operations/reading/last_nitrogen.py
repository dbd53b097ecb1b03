"""The last day for a block's nitrogen: its own, or the default by crop and place."""

from __future__ import annotations

from datetime import date

import numpy as np

from service.database.session import UnitOfWork
from service.nutrition.nutrient_dates import LastNitrogen, block_last_nitrogen
from service.records.farms import BlockDefinition


def block_latitude(unit: UnitOfWork, block: BlockDefinition) -> float:
    """Latitude of the site that a block's weather is from."""
    keys = np.array([unit.blocks.get_site_key(block.site_id)], dtype=np.int64)
    return unit.blocks.read_site_table(keys).definitions[0].latitude_deg


def find_last_nitrogen(unit: UnitOfWork, block: BlockDefinition, day: date) -> LastNitrogen | None:
    """The last day for nitrogen in the season that a day is in; None where none is known."""
    return last_nitrogen_at(block, block_latitude(unit, block), day)


def last_nitrogen_at(block: BlockDefinition, latitude_deg: float, day: date) -> LastNitrogen | None:
    """The same for a block whose site's latitude is known already."""
    return block_last_nitrogen(
        block.crop_key, day, latitude_deg, last_nitrogen_doy=block.last_nitrogen_doy
    )
