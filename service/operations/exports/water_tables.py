"""The water balance of a block by day, and the water that a farm used, as tables."""

from __future__ import annotations

from typing import Final

import numpy as np

from service.operations.exports.columns import NOTES, InUnits, file_name, known
from service.operations.reading.read_balance import BlockBalance
from service.records.export import Cell, ExportColumn, ExportTable
from service.records.farms import FarmDefinition
from service.records.ledger import IrrigationOrigin
from service.records.water_use import Grouping, WaterSum, WaterUse
from service.translations import Wording
from service.translations.catalogue import marked

_ORIGINS: Final = {
    IrrigationOrigin.NONE: marked("none"),
    IrrigationOrigin.REPORTED: marked("reported run"),
    IrrigationOrigin.PLANNED: marked("plan, taken as carried out"),
    IrrigationOrigin.METERED: marked("meter"),
}
GROUPINGS: Final = {
    Grouping.MONTH: marked("Month"),
    Grouping.SEASON: marked("Season"),
    Grouping.BLOCK: marked("Block"),
    Grouping.SUPPLY: marked("Supply"),
}
_DEPTHS: Final = (
    (marked("Rain"), ("rain_mm",)),
    (marked("Rain that enters the root zone"), ("rain_entering_mm",)),
    (marked("Irrigation, gross"), ("irrigation_gross_mm",)),
    (marked("Irrigation, net"), ("early_net_mm", "day_net_mm")),
    (marked("Drained"), ("rain_drainage_mm", "irrigation_drainage_mm")),
    (marked("Reference ET"), ("et0_mm",)),
    (marked("Crop use without stress"), ("crop_et_mm",)),
    (marked("Crop use"), ("actual_crop_et_mm",)),
    (marked("Soil readings and change of the root zone"), ("correction_mm", "resize_mm")),
    (marked("Missing at the start"), ("depletion_start_mm",)),
    (marked("Missing at the end"), ("depletion_end_mm",)),
    (marked("Readily available water"), ("raw_mm",)),
)
_BALANCE = marked("Balance")
_BALANCE_TEXT = marked(
    "Missing at the end is missing at the start, less rain that enters and net irrigation, plus"
    " what drains and the crop uses, with soil readings and a change of the root zone. The block"
    " gets water from the trigger on."
)
_WATER = marked("Water")
_WATER_TEXT = marked(
    "Water that left the supply, leaks included; its depth is over the ground of the blocks."
    " Metered volumes, minutes of reported runs, and, where nobody reported, plans taken as"
    " carried out."
)


def balance_table(balance: BlockBalance, farm: FarmDefinition, words: Wording) -> ExportTable:
    """A line for each day of a block's ledger."""
    inside = InUnits(words)
    rows = balance.rows
    columns = [
        inside.day(marked("Day")),
        *(inside.depth(heading) for heading, _ in _DEPTHS),
        inside.depth(marked("Trigger")),
        inside.number(marked("Crop coefficient Kc"), decimals=3),
        inside.number(marked("Stress coefficient Ks"), decimals=3),
        inside.text(marked("Irrigation from")),
        inside.text(marked("Weather")),
    ]
    depths = [
        np.sum([np.nan_to_num(rows.numbers[name]) for name in names], axis=0)
        if len(names) > 1
        else rows.numbers[names[0]]
        for _, names in _DEPTHS
    ]
    cells: list[list[Cell]] = []
    for row, day in enumerate(rows.days.astype("datetime64[D]").tolist()):
        is_observed = bool(rows.is_observed[row])
        cells.append(
            [
                day,
                *(inside.depth_cell(float(depth[row])) for depth in depths),
                inside.depth_cell(float(balance.trigger_mm[row])),
                known(float(rows.numbers["crop_coefficient"][row])),
                known(float(rows.numbers["stress_ratio"][row])),
                words.gettext(_ORIGINS[IrrigationOrigin(rows.irrigation_origin[row])]),
                words.gettext(marked("measured") if is_observed else marked("forecast or filled")),
            ]
        )
    return ExportTable(
        name=file_name("balance", balance.block_id),
        title=balance.name,
        columns=tuple(columns),
        rows=cells,
        notes=(
            (words.gettext(marked("Block")), f"{balance.name} ({balance.block_id})"),
            *inside.notes(farm, (balance.first_day, balance.last_day), (_BALANCE, _BALANCE_TEXT)),
        ),
        notes_title=words.gettext(NOTES),
    )


def water_table(
    use: WaterUse, farm: FarmDefinition, words: Wording, block_names: dict[str, str]
) -> ExportTable:
    """A line for each sum of a farm's water, and one for all of it."""
    inside = InUnits(words)
    labels = [inside.text(GROUPINGS[each]) for each in use.by]
    columns: list[ExportColumn] = [
        *labels,
        inside.volume(marked("Water")),
        inside.depth(marked("Depth over the blocks")),
        inside.volume(marked("By the meter")),
        inside.volume(marked("By reported minutes")),
        inside.volume(marked("By plans")),
    ]

    def numbers(each: WaterSum) -> list[Cell]:
        return [
            inside.volume_cell(each.volume_l),
            inside.depth_cell(each.gross_mm),
            inside.volume_cell(each.metered_volume_l),
            inside.volume_cell(each.reported_volume_l),
            inside.volume_cell(each.assumed_volume_l),
        ]

    rows: list[list[Cell]] = [
        [*(block_names.get(label, label) for label in each.labels), *numbers(each)]
        for each in use.sums
    ]
    everything = [words.gettext(marked("All")), *[None] * (len(labels) - 1)]
    rows.append([*everything, *numbers(use.total)])
    limit: tuple[tuple[str, str], ...] = ()
    if use.limit_volume_l is not None:
        limit = ((words.gettext(marked("Permit or budget")), words.volume(use.limit_volume_l)),)
    return ExportTable(
        name=file_name("water-used", use.farm_id),
        title=words.gettext(marked("Water used")),
        columns=tuple(columns),
        rows=rows,
        notes=(
            *inside.notes(farm, (use.first_day, use.last_day), (_WATER, _WATER_TEXT)),
            *limit,
        ),
        notes_title=words.gettext(NOTES),
    )
