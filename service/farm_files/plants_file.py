"""Emitters that a farm file counts by plants, read as their distance along the line."""

from __future__ import annotations

import math

from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import BlockKeys
from service.farm_files.block_part_keys import PlantsKeys
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable


def read_emitter_spacing(table: TomlTable, draft: BlockDraft) -> float | None:
    """Take the emitter spacing of a ``[[block]]`` from its key or from its plants.

    Returns the emitters of one plant, None where the file does not count them.
    """
    plants = table.table(BlockKeys.plants)
    if plants is None:
        draft.take(table, BlockKeys.emitter_spacing, None, "")
        return None
    spacing_m = plants.number(PlantsKeys.spacing)
    emitters = plants.number(PlantsKeys.emitters)
    plants.close()
    if table.has(BlockKeys.emitter_spacing):
        table.refuse(
            BlockKeys.emitter_spacing,
            show(table.value(BlockKeys.emitter_spacing)),
            "either emitter_spacing or plants",
        )
        draft.numbers[BlockKeys.emitter_spacing.field] = math.nan
        return None
    # The emitters of a plant are spread over the lines of its row.
    between_m = spacing_m * draft.numbers[BlockKeys.laterals_per_row.field] / emitters
    draft.take(
        table,
        BlockKeys.emitter_spacing,
        between_m,
        f"{emitters:g} emitters for each plant, plants {spacing_m:.2f} m apart",
    )
    return emitters
