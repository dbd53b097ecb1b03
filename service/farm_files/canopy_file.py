"""The day on which the canopy of a block was measured."""

from __future__ import annotations

import math
from datetime import date

from service.agronomy.civil_day import decimal_year
from service.farm_files.block_draft import BlockDraft
from service.farm_files.block_keys import FULL_SIZE, GIVEN, BlockKeys
from service.farm_files.quantities import show
from service.farm_files.toml_table import TomlTable


def read_measured_day(table: TomlTable, draft: BlockDraft) -> date | None:
    """The day on which cover or height was measured, noted as a year with its part."""
    key = BlockKeys.canopy_measured_on
    day = table.day(key)
    draft.numbers["canopy_measured_year"] = math.nan if day is None else decimal_year(day)
    draft.origins["canopy_measured_year"] = "not given" if day is None else GIVEN
    if day is None:
        for full in FULL_SIZE:
            draft.numbers[full.field] = math.nan
            draft.origins[full.field] = "no canopy measured on a day"
            if table.has(full):
                found = show(table.value(full))
                table.refuse(full, found, f"{key.name} beside it, to say from when it grows")
        return None
    if not (table.has(BlockKeys.canopy_cover) or table.has(BlockKeys.canopy_height)):
        table.refuse(key, day.isoformat(), "canopy_cover or canopy_height, as measured on that day")
    if day.year < draft.numbers["planting_year"]:
        table.refuse(key, day.isoformat(), "a day not before the planting_year")
    return day
